"""The stand-in bench: instruments with real chemistry and real faults, on real ports."""
