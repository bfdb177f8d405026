"""Tapwear: when each on-load tap changer must be opened, why, and in which week the station can spare it."""

__version__ = "0.3.0"
