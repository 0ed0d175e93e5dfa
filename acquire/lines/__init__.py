"""Lines: the only code that opens ports and files."""
