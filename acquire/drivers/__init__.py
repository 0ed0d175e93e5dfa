"""Drivers: bytes in, events out; no port, no clock, no thread."""
