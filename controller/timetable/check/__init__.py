"""What `check` says of a garden whose file reads well."""
