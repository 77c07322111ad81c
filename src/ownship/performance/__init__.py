"""Physics and one aeroplane make numbers: take-off, climb, cruise, landing for (case, draw) arrays; the book's table."""
