"""Hand-written stand-ins for ports, clocks and stores."""
