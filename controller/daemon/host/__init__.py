"""The board, the process and the service manager around the daemon."""
