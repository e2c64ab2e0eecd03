"""Documents for customers: facts in words, then the same on paper; reads, never writes."""
