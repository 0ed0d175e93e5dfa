"""The wiring doctor: from what came over a line to plain hints at what is wrong. Pure: no port, no clock."""
