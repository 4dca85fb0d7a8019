"""Sentences of all messages, in one place: what was found, as a gardener reads it."""
