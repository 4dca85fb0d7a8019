"""From the file as written to the garden model."""
