"""The flow watch: the meter and the input pins beside the openings."""
