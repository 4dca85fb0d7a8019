"""What a plan is made from: the garden with its tables, and its weather as demand days."""
