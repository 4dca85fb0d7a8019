"""The laws of one hole, one pipe, one valve: floats in, floats out."""
