"""The valve bank with its safety rules. Kept empty: the stop step imports this package."""
