"""What is outside: aerodromes, geodesy, magnetism, the sun, weather texts."""
