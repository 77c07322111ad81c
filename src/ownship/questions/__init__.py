"""One function for each thing a pilot can ask: where clock, chance, disk and calculation meet.

Imports stand inside the functions, so that a small question starts at once.
"""
