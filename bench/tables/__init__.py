"""Published tables that rules need, shipped as data."""
