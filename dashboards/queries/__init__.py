"""Questions to the record: rows in, frozen values out, a fixed number of statements each."""
