"""Each figure beside its yardstick, from the same run."""
