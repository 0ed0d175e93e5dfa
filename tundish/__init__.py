"""Configuration, wiring, the clock, the command line and the service."""
