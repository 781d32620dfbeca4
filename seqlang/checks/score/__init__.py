"""Checks of the cues themselves."""
