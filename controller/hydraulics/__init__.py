"""What a drilled line delivers."""
