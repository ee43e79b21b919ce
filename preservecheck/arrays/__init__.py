"""Tables and formulas as arrays: the axes that ``context.py`` and ``case.py`` put together."""
