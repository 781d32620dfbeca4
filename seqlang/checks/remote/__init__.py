"""Checks of the remote's buttons."""
