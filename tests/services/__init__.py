"""Real programs that tests start for themselves and stop again."""
