"""The numerical core: numpy and scipy only, SI units only, no Django, no clock, no files."""
