"""How a batch cools: Newton's law, when it reaches a temperature, and what a cold portion does."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def temperature_at(
    time_min: ArrayLike, start_c: ArrayLike, room_c: ArrayLike, rate_per_min: ArrayLike
) -> Floats:
    """Temperature of a cooling batch.

    T = room + (start - room) exp(-k t); one well-stirred batch, steady surroundings.

    Parameters
    ----------
    time_min
        Time since the start. [min]
    start_c
        Temperature at the start. [°C]
    room_c
        Temperature of the surroundings. [°C]
    rate_per_min
        Rate constant k. [1/min]

    Returns
    -------
    Floats
        Temperature. [°C]

    Notes
    -----
    Never passes the room. The rate falls as evaporation and draught fall, so that a rate from early
    readings flatters.

    References
    ----------
    reference-pages, a college calculus course page on Newton's law of cooling.

    Examples
    --------
    After one half-life, ln 2 / 0.05 = 13.863 min, half of the difference is left: 20 + 50 / 2.

    >>> round(float(temperature_at(13.862944, 70, 20, 0.05)), 4)
    45.0
    """
    time, start, room, rate = (
        np.asarray(v, dtype=np.float64) for v in (time_min, start_c, room_c, rate_per_min)
    )
    return np.asarray(room + (start - room) * np.exp(-rate * time))


def minutes_to(
    target_c: ArrayLike, start_c: ArrayLike, room_c: ArrayLike, rate_per_min: ArrayLike
) -> Floats:
    """Time until a cooling batch reaches a temperature.

    t = ln((start - room) / (target - room)) / k.

    Parameters
    ----------
    target_c
        Temperature to reach. [°C]
    start_c
        Temperature at the start. [°C]
    room_c
        Temperature of the surroundings. [°C]
    rate_per_min
        Rate constant k. [1/min]

    Returns
    -------
    Floats
        Time; negative where the start is already below, not-a-number where the target is never
        reached. [min]

    Notes
    -----
    The room itself is never reached.

    References
    ----------
    reference-pages, a college calculus course page on Newton's law of cooling.

    Examples
    --------
    ln((74 - 21) / (40 - 21)) = ln(2.7895) = 1.02586; over 0.02 it is 51.29 min.

    >>> round(float(minutes_to(40, 74, 21, 0.02)), 2)
    51.29
    """
    target, start, room, rate = (
        np.asarray(v, dtype=np.float64) for v in (target_c, start_c, room_c, rate_per_min)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = (start - room) / (target - room)
        time = np.log(ratio) / rate
    return np.asarray(np.where((ratio > 0) & np.isfinite(time) & (rate > 0), time, np.nan))


def mixed_temperature_c(
    mass_g: ArrayLike, specific_heat_kj_kg_k: ArrayLike, temp_c: ArrayLike
) -> Floats:
    """Temperature after portions of different temperature were put together.

    T = sum(m c T) / sum(m c); no heat of melting, no vessel, no loss while stirring.

    Parameters
    ----------
    mass_g
        Mass of each portion, shape (..., n). [g]
    specific_heat_kj_kg_k
        Specific heat of each portion, shape (..., n). [kJ/(kg K)]
    temp_c
        Temperature of each portion, shape (..., n). [°C]

    Returns
    -------
    Floats
        Temperature of the whole, shape (...). [°C]

    Notes
    -----
    100 g of glass are worth about 20 g of water; wax that sets gives off about 200 kJ/kg and is not
    counted.

    References
    ----------
    reference-pages, tables of the specific heat of liquids; the balance itself is the conservation
    of energy.

    Examples
    --------
    700 g of emulsion at 60 °C with 300 g of water at 22 °C: (700 x 3.6 x 60 + 300 x 4.18 x 22) /
    (2520 + 1254) = 47.37.

    >>> round(float(mixed_temperature_c([700, 300], [3.6, 4.18], [60, 22])), 2)
    47.37
    """
    capacity = np.asarray(mass_g, dtype=np.float64) * np.asarray(
        specific_heat_kj_kg_k, dtype=np.float64
    )
    return np.asarray(
        np.sum(capacity * np.asarray(temp_c, dtype=np.float64), axis=-1) / np.sum(capacity, axis=-1)
    )
