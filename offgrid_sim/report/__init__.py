"""Outcome to figures to one HTML file."""
