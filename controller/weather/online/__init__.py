"""The public weather services, asked politely, and never for long."""
