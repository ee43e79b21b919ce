"""The physics and chemistry: numbers in, numbers out.

Every function takes plain floats or numpy arrays, broadcasts them, and gives back the shape it
got. Nothing in here knows a table, a file or a formula. Names end in their unit.
"""
