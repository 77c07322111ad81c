"""Ownship: what one particular small aeroplane can do today."""

__version__ = "0.1.0"
