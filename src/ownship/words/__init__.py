"""Formatting of value + unit + band, verdict words and standing texts."""
