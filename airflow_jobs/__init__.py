"""The record: what was measured and what it means."""
