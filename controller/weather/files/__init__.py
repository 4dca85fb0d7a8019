"""Weather files: a gardener's own, a station's, two archives' formats."""
