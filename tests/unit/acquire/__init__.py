"""Tests of acquire."""
