"""Drivers made of code, for instruments that hold a conversation: no port, no clock, no thread."""
