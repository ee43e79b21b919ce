"""The tables and the formulas as arrays.

Axes, by the letters of the docstrings.
Tables: ``K`` substances, ``F`` acting forms (an acid and its salts are one), ``M`` microbes, ``C``
oil classes, ``B`` binder classes, ``N`` uncharged solutes, ``E`` salts, ``S`` systems, ``Q`` parts
of a system, ``R`` rules of the law.
Formulas: ``P`` systems of a formula, ``A`` their additions, ``J`` subjects of a check.
Recipes: ``N`` formulas, ``H`` phases, ``L`` lines, ``V`` lines that stand for systems.
"""
