"""Checks of what feeds the boards."""
