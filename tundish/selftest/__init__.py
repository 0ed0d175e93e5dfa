"""The published figures that this installation must reproduce: one list for `tundish selftest` and the tests."""
