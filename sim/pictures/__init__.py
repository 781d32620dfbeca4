"""Plots and the preview page."""
