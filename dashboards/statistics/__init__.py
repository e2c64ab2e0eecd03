"""Statistics of shares, trends and comparisons; numpy and scipy only."""
