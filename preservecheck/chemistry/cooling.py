"""How a batch cools: Newton's law, when it reaches a temperature, what a cold portion does, and the
law fitted to readings with its error."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.trend import student_t

Floats = NDArray[np.float64]

# rates that are searched: a drop in a draught to a vat that takes weeks [1/min]
_SLOWEST, _FASTEST = 1e-6, 5.0
_GRID: Final = 150
# no pot is watched longer than a week [min]
HORIZON_MIN: Final = 7 * 24 * 60.0


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


@dataclass(frozen=True)
class CoolingFit:
    """Newton's law as fitted to readings.

    Parameters
    ----------
    rate_per_min
        Rate constant k. [1/min]
    room_c
        Temperature of the surroundings. [°C]
    start_c
        Temperature on the curve at time zero. [°C]
    error_c
        Standard deviation of the readings about the curve. [°C]
    dof
        Readings less fitted numbers; 0 where the scatter was assumed. [-]
    room_known
        Whether the room was given, not fitted. [-]
    time_min, temp_c
        The readings that were used, shape (n,) each. [min], [°C]
    """

    rate_per_min: float
    room_c: float
    start_c: float
    error_c: float
    dof: int
    room_known: bool
    time_min: Floats
    temp_c: Floats

    @property
    def factor(self) -> float:
        """Half-width of a 95 % interval in standard errors; the normal one where the scatter was
        assumed. [-]"""
        return student_t(self.dof if self.dof > 0 else math.inf)


def fitted_cooling(
    time_min: ArrayLike,
    temp_c: ArrayLike,
    room_c: float | None = None,
    least_error_c: float = 0.0,
    assumed_error_c: float = 0.5,
) -> CoolingFit | None:
    """Newton's law with the least squared distances from the readings.

    T = room + (start - room) exp(-k t); start, k and, where it is not given, the room are fitted.

    Parameters
    ----------
    time_min
        Times in ascending order, shape (n,). [min]
    temp_c
        Readings, shape (n,). [°C]
    room_c
        Temperature of the surroundings, or ``None`` to have it fitted. [°C]
    least_error_c
        Scatter that is there in any case, such as that of rounding. [°C]
    assumed_error_c
        Scatter that is taken where there are as many readings as fitted numbers. [°C]

    Returns
    -------
    CoolingFit | None
        The fit; ``None`` where the readings are fewer than the fitted numbers, or do not fall
        towards a room. [min, °C]

    Notes
    -----
    Every reading counts alike, in degrees. For each rate the other numbers follow from straight
    lines, so that the search runs over the rate alone and cannot get lost.

    References
    ----------
    reference-pages, a college calculus course page on Newton's law of cooling; compared with
    scipy.optimize.curve_fit.

    Examples
    --------
    Two readings, room known: k = ln((74 - 21) / (66 - 21)) / 10 = ln(1.17778) / 10 = 0.016363.

    >>> round(fitted_cooling([0, 10], [74, 66], 21.0).rate_per_min, 6)
    0.016363
    """
    time, temp = np.asarray(time_min, dtype=np.float64), np.asarray(temp_c, dtype=np.float64)
    free = 2 if room_c is not None else 3
    if time.size < free:
        return None
    first = float(time[0])
    shifted = time - first

    def squares(rate: Floats) -> Floats:
        return _parts(rate, shifted, temp, room_c)[2]

    rate, _ = _least(squares)
    height, room, left = (float(v[0]) for v in _parts(np.array([rate]), shifted, temp, room_c))
    if math.isnan(rate) or height <= 0:
        return None
    dof = time.size - free
    scatter = math.sqrt(max(left, 0.0) / dof) if dof else assumed_error_c
    return CoolingFit(
        rate,
        room,
        room + height * math.exp(rate * first),
        max(scatter, least_error_c),
        dof,
        room_c is not None,
        time,
        temp,
    )


def minutes_band(fit: CoolingFit, target_c: float) -> tuple[float, float]:
    """Times between which the batch reaches a temperature, 95 times of 100.

    All times t for which some curve through (t, target) leaves squared distances of at most
    least + (factor error)^2 (profile likelihood).

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]
    target_c
        Temperature to reach. [°C]

    Returns
    -------
    tuple[float, float]
        Earliest and latest time; infinite where no latest time can be given. [min]

    Notes
    -----
    Right as long as the rate does not change. Exact for straight lines, good to a per cent here:
    see the tests, which count how often the band holds the truth.

    References
    ----------
    Profile likelihood intervals, as in textbooks of nonlinear regression.

    Examples
    --------
    Readings on the curve to within rounding give a narrow band about the true 51.29 min.

    >>> times = np.arange(0, 41, 5.0)
    >>> fit = fitted_cooling(times, np.round(temperature_at(times, 74, 21, 0.02), 1), 21.0, 0.029)
    >>> [round(t) for t in minutes_band(fit, 40.0)]
    [51, 51]
    """
    first = float(fit.time_min[0])
    shifted = fit.time_min - first
    room = fit.room_c if fit.room_known else None
    best = float(_parts(np.array([fit.rate_per_min]), shifted, fit.temp_c, room)[2][0])
    allowed = best + (fit.factor * fit.error_c) ** 2
    centre = float(minutes_to(target_c, fit.start_c, fit.room_c, fit.rate_per_min))

    def outside(time: float) -> bool:
        def squares(rate: Floats) -> Floats:
            return _through(rate, shifted, fit.temp_c, room, target_c, time - first)

        return _least(squares, rounds=2)[1] > allowed

    if math.isnan(centre):
        return math.nan, math.nan
    return _edge(outside, centre, -1.0), _edge(outside, centre, 1.0)


def temperature_band(fit: CoolingFit, time_min: ArrayLike) -> tuple[Floats, Floats]:
    """Curve and the half-width of its 95 % band.

    half-width = factor sqrt(g C g), with g the slopes of the curve by its numbers and C their
    covariance.

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]
    time_min
        Times, shape (m,). [min]

    Returns
    -------
    tuple[Floats, Floats]
        Temperature and half-width, shape (m,) each. [°C]

    Notes
    -----
    Of first order; for drawing. Times to a temperature come from ``minutes_band``.

    References
    ----------
    Propagation of errors.

    Examples
    --------
    Where the readings lie on the curve, the band has no width.

    >>> fit = fitted_cooling([0, 10, 20], temperature_at([0, 10, 20], 74, 21, 0.02), 21.0)
    >>> round(float(temperature_band(fit, 20.0)[1]), 3)
    0.0
    """
    time = np.asarray(time_min, dtype=np.float64)
    known = _slopes(fit, fit.time_min)
    covariance = np.linalg.pinv(known.T @ known) * fit.error_c**2
    wanted = _slopes(fit, np.atleast_1d(time))
    half = fit.factor * np.sqrt(
        np.maximum(np.einsum("ij,jk,ik->i", wanted, covariance, wanted), 0.0)
    )
    curve = temperature_at(time, fit.start_c, fit.room_c, fit.rate_per_min)
    return curve, np.asarray(half.reshape(time.shape))


def rate_tolerance(fit: CoolingFit) -> float:
    """Half-width of the 95 % interval of the rate constant.

    factor sqrt(C_kk), C the covariance of the fitted numbers.

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]

    Returns
    -------
    float
        Half-width. [1/min]

    Notes
    -----
    Of first order.

    References
    ----------
    Propagation of errors.

    Examples
    --------
    >>> fit = fitted_cooling([0, 10, 20], temperature_at([0, 10, 20], 74, 21, 0.02), 21.0)
    >>> round(rate_tolerance(fit), 6)
    0.0
    """
    known = _slopes(fit, fit.time_min)
    covariance = np.linalg.pinv(known.T @ known) * fit.error_c**2
    return float(fit.factor * math.sqrt(max(covariance[1, 1], 0.0)))


def _slopes(fit: CoolingFit, time: Floats) -> Floats:
    """Change of the curve with start, rate and (where fitted) room. (m, 2 or 3)"""
    fall = np.exp(-fit.rate_per_min * time)
    columns = [fall, -(fit.start_c - fit.room_c) * time * fall]
    return np.stack(columns if fit.room_known else [*columns, 1 - fall], axis=-1)


def _parts(
    rate: Floats, time: Floats, temp: Floats, room: float | None
) -> tuple[Floats, Floats, Floats]:
    """For each rate the best height over the room at time zero, the room, and the squared
    distances. (r,) each"""
    fall = np.exp(-rate[:, None] * time)
    if room is not None:
        height = (fall * (temp - room)).sum(axis=1) / (fall**2).sum(axis=1)
        rooms = np.full(rate.shape, room)
    else:
        # 1 - exp(-k t) keeps its digits where the rate is small
        lost = -np.expm1(-rate[:, None] * time)
        middle = lost - lost.mean(axis=1, keepdims=True)
        height = -(middle * (temp - temp.mean())).sum(axis=1) / (middle**2).sum(axis=1)
        rooms = temp.mean() + height * (lost.mean(axis=1) - 1)
    left = ((temp - rooms[:, None] - height[:, None] * fall) ** 2).sum(axis=1)
    return height, rooms, left


def _through(
    rate: Floats, time: Floats, temp: Floats, room: float | None, target: float, at: float
) -> Floats:
    """Least squared distances of curves of each rate that pass through one point. (r,)"""
    with np.errstate(over="ignore", invalid="ignore"):
        if room is not None:
            curve = room + (target - room) * np.exp(-rate[:, None] * (time - at))
        else:
            shape = np.exp(-rate[:, None] * (time - at)) - 1
            shape = shape / np.maximum(np.abs(shape).max(axis=1, keepdims=True), 1e-300)
            height = (shape * (temp - target)).sum(axis=1) / (shape**2).sum(axis=1)
            curve = target + height[:, None] * shape
        left = ((temp - curve) ** 2).sum(axis=1)
    return np.asarray(np.where(np.isfinite(left), left, np.inf))


def _least(squares: Callable[[Floats], Floats], rounds: int = 4) -> tuple[float, float]:
    """The rate with the least squares, and these; not-a-number at the edge of what is searched.

    A grid that is narrowed a few times: all rates at once are faster than one after the other, and
    no local minimum is taken for the least.
    """
    logs = np.linspace(math.log(_SLOWEST), math.log(_FASTEST), _GRID)
    values = squares(np.exp(logs))
    at = int(np.argmin(values))
    at_edge = at in (0, _GRID - 1)
    for _ in range(rounds):
        logs = np.linspace(logs[max(at - 1, 0)], logs[min(at + 1, len(logs) - 1)], 33)
        values = squares(np.exp(logs))
        at = int(np.argmin(values))
    return math.nan if at_edge else float(np.exp(logs[at])), float(values[at])


def _edge(outside: Callable[[float], bool], centre: float, direction: float) -> float:
    """How far a time may move from the best one; infinite where no edge is found within the
    horizon. [min]"""
    inside, step = centre, max(abs(centre) * 0.02, 0.01)
    while not outside(inside + direction * step):
        inside += direction * step
        step *= 2
        if abs(inside - centre) > HORIZON_MIN:
            return direction * math.inf
    beyond = inside + direction * step
    for _ in range(40):
        middle = (inside + beyond) / 2
        if outside(middle):
            beyond = middle
        else:
            inside = middle
        if abs(beyond - inside) < 2e-3:
            break
    return (inside + beyond) / 2
