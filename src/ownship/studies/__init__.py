"""What a change would buy: one aeroplane before and after a modification, on the same draws."""
