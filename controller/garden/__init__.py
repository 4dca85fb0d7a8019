"""What the gardener describes: quantities with units, the model, the garden file."""
