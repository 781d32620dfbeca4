"""Checks of flashing light."""
