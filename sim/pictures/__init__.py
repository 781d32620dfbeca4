"""Plots, and what the preview page draws."""
