"""Whose number it is and whether it stands."""
