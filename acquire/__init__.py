"""Hear the instruments: lines bring bytes, drivers turn them into events."""
