"""How strongly oils and surfactants take up a preservative, estimated from octanol-water."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# scatter (root mean square, log10) of the relations below on the values they were fitted to
VEGETABLE_OIL_RMS_LOG10: Final = 0.15
HYDROCARBON_OIL_RMS_LOG10: Final = 0.32
ETHOXYLATE_RMS_LOG10: Final = 0.18
# factor to reckon with for a substance outside the fitted set
VEGETABLE_OIL_FACTOR: Final = 2.5
HYDROCARBON_OIL_FACTOR: Final = 3.0
ETHOXYLATE_FACTOR: Final = 2.0
# uptake by liquid esters and liquid fatty alcohols against vegetable oil: esters take 1 to 3 times
# as much (handbook rows), the alcohols are put at the upper end of that (assumption)
ESTER_TO_VEGETABLE: Final = {"ester": 2.0, "fatty-alcohol": 3.0}
OIL_CLASSES: Final = ("vegetable", "ester", "fatty-alcohol", "hydrocarbon", "silicone")
# benzyl alcohol and phenoxyethanol in mineral oil, middle of 0.2 to 0.3 (recalled)
ARYL_ALCOHOL_HYDROCARBON: Final = 0.25


def vegetable_oil_partition(log_p: ArrayLike) -> Floats:
    """Partition coefficient in a vegetable oil, estimated from octanol-water.

    log10 K = 0.869 logP - 0.759; uncharged form, logP 1.1 to 3.6.

    Parameters
    ----------
    log_p
        Decimal logarithm of the octanol-water partition coefficient of the uncharged form. [-]

    Returns
    -------
    Floats
        K, concentration in oil over concentration in water. [-]

    Notes
    -----
    Scatter 0.15 in log10 on its own 12 values, ``VEGETABLE_OIL_RMS_LOG10``; reckon with a factor
    2.5 for others. Never use the logP of a salt: it belongs to the ion.

    References
    ----------
    Fit made for this program on values of bean-1965, bean-1972 and handbook tables.

    Examples
    --------
    logP 2: 1.738 - 0.759 = 0.979, 10**0.979 = 9.53.

    >>> round(float(vegetable_oil_partition(2.0)), 2)
    9.53
    """
    return _power_of_ten(0.869, -0.759, log_p)


def hydrocarbon_oil_partition(log_p: ArrayLike) -> Floats:
    """Partition coefficient of a phenol or acid in mineral oil, estimated from octanol-water.

    log10 K = 0.92 logP - 2.90; uncharged phenols, parabens and acids, logP 1.5 to 3.6.

    Parameters
    ----------
    log_p
        Decimal logarithm of the octanol-water partition coefficient of the uncharged form. [-]

    Returns
    -------
    Floats
        K, concentration in oil over concentration in water. [-]

    Notes
    -----
    Scatter 0.32 in log10 on five substances, ``HYDROCARBON_OIL_RMS_LOG10``. Not for benzyl
    alcohol and phenoxyethanol (0.2 to 0.3 recalled). Acids that pair up in oil (benzoic acid)
    take up more as the dose rises: factor 3 either way.

    References
    ----------
    Fit made for this program on values of bean-1965 and bean-1972.

    Examples
    --------
    logP 2: 1.84 - 2.90 = -1.06, 10**-1.06 = 0.0871.

    >>> round(float(hydrocarbon_oil_partition(2.0)), 4)
    0.0871
    """
    return _power_of_ten(0.92, -2.90, log_p)


def partition_from_log_p(
    log_p: ArrayLike, oil_class: str, *, phenol_or_acid: bool = True
) -> Floats:
    """Partition coefficient in one class of oil, estimated from octanol-water.

    vegetable: ``vegetable_oil_partition``; ester and fatty-alcohol: 2 and 3 times that; hydrocarbon
    and silicone: ``hydrocarbon_oil_partition``, for other than phenols and acids at least 0.25.

    Parameters
    ----------
    log_p
        Decimal logarithm of the octanol-water partition coefficient of the uncharged form. [-]
    oil_class
        vegetable, ester, fatty-alcohol, hydrocarbon or silicone. [-]
    phenol_or_acid
        Whether the substance is a phenol (parabens are) or an acid. [-]

    Returns
    -------
    Floats
        K, concentration in oil over concentration in water. [-]

    Notes
    -----
    No measurement in silicones was found: they are taken to behave like mineral oil (assumption).
    Oils that are solid in the finished product take up none. An unknown class is a
    ``ValueError``.

    References
    ----------
    As for the two relations; the factors are estimates made for this program.

    Examples
    --------
    logP 2: 9.53 in vegetable oil (see there), so 19.1 in an ester.

    >>> round(float(partition_from_log_p(2.0, "ester")), 1)
    19.1
    >>> float(partition_from_log_p(1.1, "hydrocarbon", phenol_or_acid=False))
    0.25
    """
    if oil_class in ("hydrocarbon", "silicone"):
        phenols = hydrocarbon_oil_partition(log_p)
        return phenols if phenol_or_acid else np.maximum(phenols, ARYL_ALCOHOL_HYDROCARBON)
    if oil_class == "vegetable":
        return vegetable_oil_partition(log_p)
    if oil_class in ESTER_TO_VEGETABLE:
        return ESTER_TO_VEGETABLE[oil_class] * vegetable_oil_partition(log_p)
    raise ValueError(f"unknown oil class {oil_class!r}; known are {', '.join(OIL_CLASSES)}")


def binding_from_log_p(log_p: ArrayLike) -> Floats:
    """Binding constant to an ethoxylated nonionic surfactant, estimated from octanol-water.

    log10 k = 0.755 logP - 1.844 per per cent of surfactant of the polysorbate 80 type; uncharged
    form, logP 1.9 to 3.1.

    Parameters
    ----------
    log_p
        Decimal logarithm of the octanol-water partition coefficient of the uncharged form. [-]

    Returns
    -------
    Floats
        k in total / free = 1 + k S, with S in per cent of the water phase. [1/%]

    Notes
    -----
    Scatter 0.18 in log10, ``ETHOXYLATE_RMS_LOG10``; two published tables differ by a factor 2.

    References
    ----------
    Fit made for this program on textbook values (recalled).

    Examples
    --------
    logP 2: 1.510 - 1.844 = -0.334, 10**-0.334 = 0.463.

    >>> round(float(binding_from_log_p(2.0)), 3)
    0.463
    """
    return _power_of_ten(0.755, -1.844, log_p)


def _power_of_ten(slope: float, offset: float, log_p: ArrayLike) -> Floats:
    result: Floats = np.power(10.0, slope * np.asarray(log_p, dtype=np.float64) + offset)
    return result
