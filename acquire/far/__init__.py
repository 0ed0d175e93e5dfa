"""Lines of a far bench: what it heard, taken as if it were heard here."""
