"""The reading side: what the record says, on pages."""
