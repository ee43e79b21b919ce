"""Plots as inline SVG."""
