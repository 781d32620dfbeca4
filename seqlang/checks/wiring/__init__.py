"""Checks of pins, addresses and what a board holds."""
