"""Tests of the office's forms."""
