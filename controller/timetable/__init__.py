"""When each valve opens and for how long."""
