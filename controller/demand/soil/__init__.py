"""Soil water: what the soil holds, what it loses, the daily water balance."""
