"""The REST API: parse, one call, translate."""
