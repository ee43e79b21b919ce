"""The tables and the formulas as arrays."""
