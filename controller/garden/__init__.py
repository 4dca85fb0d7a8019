"""The garden file, with its quantities, its model and its checks."""
