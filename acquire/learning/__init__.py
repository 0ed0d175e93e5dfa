"""Learn a driver file from the bytes of an instrument that nobody knows. Pure: no port, no file, no clock.

What the bytes show is measured, what they cannot show is asked, and the proposal is tried on bytes that it
was not made from. The driver that comes out is a file without code, as a person would have written it.
"""
