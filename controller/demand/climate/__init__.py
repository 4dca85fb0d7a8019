"""From the air and the sun to reference ET."""
