"""The walk along a new installation: each valve opened once, a person says what moved."""
