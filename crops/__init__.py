"""Crop and soil figures, each with its source, and the catalogue that reads them."""
