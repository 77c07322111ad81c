"""Long runs that are no tests: `python -m soak owners --count 60 --json`."""
