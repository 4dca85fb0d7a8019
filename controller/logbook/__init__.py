"""The record of weather, ledger, pulses, readings and notes."""
