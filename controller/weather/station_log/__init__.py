"""Weather station logs, aggregated to complete local days."""
