"""Afterwards: what shows, years later, why a preservative was chosen and how it held."""
