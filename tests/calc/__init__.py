"""Tests of the numerical core."""
