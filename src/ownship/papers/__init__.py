"""An assessment on paper, in the terminal and as data: everything here only shows."""
