"""What the law wants, as dated data with sources: fuel, night, levels, minima; and dates that fall due."""
