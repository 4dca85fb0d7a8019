"""How much water a zone needs today, and in which pulses."""
