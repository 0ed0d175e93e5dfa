"""The published figures this installation must reproduce: one list for `tundish selftest` and the tests."""
