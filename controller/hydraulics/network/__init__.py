"""The garden's pipes as one network, and what each hole of it gives."""
