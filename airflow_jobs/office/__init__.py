"""The office's forms: parse, one call, translate. Pages that only read stand in `dashboards`."""
