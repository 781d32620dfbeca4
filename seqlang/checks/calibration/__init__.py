"""Checks of calibration, travel and linkages."""
