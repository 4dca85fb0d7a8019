"""How much water has gone: sun, reference ET, crop stages, soil, the ledger."""
