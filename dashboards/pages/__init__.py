"""The pages: read the address, ask, draw, fill the template."""
