"""The whole program, run as a user runs it."""
