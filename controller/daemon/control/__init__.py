"""The daemon's local socket: who asks, and what is answered."""
