"""Rowgate on an emulated single-board computer: a real kernel, systemd and pin driver."""
