"""The daemon's local socket: requests and answers."""
