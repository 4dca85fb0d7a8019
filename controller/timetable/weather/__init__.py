"""From days of weather to days of demand, and what stands in for them."""
