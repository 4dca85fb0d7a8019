"""new: a dialogue that makes a garden file, and its first sheet."""
