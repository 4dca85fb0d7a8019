"""The garden model, from the tables of the file."""
