"""`python -m ownship` is the command `ownship`."""

from ownship.cli import main

main()
