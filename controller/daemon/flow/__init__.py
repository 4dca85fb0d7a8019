"""The flow watch: meter and input pins, compared with the openings."""
