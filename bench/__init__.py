"""What must be fast: ratios in one run are asserted, absolute times only reported."""
