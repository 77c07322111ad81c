"""What the book and the flights say: rows with their errors, the fit, draws, diagnostics."""
