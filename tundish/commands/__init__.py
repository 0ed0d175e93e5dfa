"""The commands, one module each, with a click command named ``command``."""
