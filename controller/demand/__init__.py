"""Water demand: reference ET, crop stages, soil, the water balance."""
