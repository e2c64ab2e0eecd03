"""Commands for the operator."""
