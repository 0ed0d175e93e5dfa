"""Breaks the formulas one figure, sign or comparison at a time and asks whether a test notices."""
