"""Tests of acquire.drivers."""
