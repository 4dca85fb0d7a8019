"""Stand-ins shared by the tests."""
