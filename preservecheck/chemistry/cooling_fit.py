"""Newton's law of cooling fitted to readings, with the band of times in which a temperature is
reached."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.cooling import minutes_to
from preservecheck.chemistry.trend import student_t

Floats = NDArray[np.float64]

# rates that are searched: a drop in a draught to a vat that takes weeks [1/min]
_SLOWEST, _FASTEST = 1e-6, 5.0
_GRID: Final = 150
# no pot is watched longer than a week [min]
HORIZON_MIN: Final = 7 * 24 * 60.0


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
        return student_t(self.dof) if self.dof > 0 else student_t(10**9)


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

    rate = _least(squares)
    if rate is None:
        return None
    height, room, left = (
        float(part[0]) for part in _parts(np.array([rate]), shifted, temp, room_c)
    )
    dof = time.size - free
    scatter = math.sqrt(max(left, 0.0) / dof) if dof else assumed_error_c
    if height <= 0:
        return None
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


def minutes_band(
    fit: CoolingFit, target_c: float, error_c: float | None = None, factor: float | None = None
) -> tuple[float, float]:
    """Times between which the batch reaches a temperature, 95 times of 100.

    All times t for which some curve through (t, target) leaves squared distances of at most
    least + (factor error)^2 (profile likelihood).

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]
    target_c
        Temperature to reach. [°C]
    error_c
        Scatter of the readings; default is that of the fit. [°C]
    factor
        Half-width in standard errors; default is Student's for the fit. [-]

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

    >>> from preservecheck.chemistry.cooling import temperature_at
    >>> times = np.arange(0, 41, 5.0)
    >>> fit = fitted_cooling(times, np.round(temperature_at(times, 74, 21, 0.02), 1), 21.0, 0.029)
    >>> [round(t) for t in minutes_band(fit, 40.0)]
    [51, 51]
    """
    error = fit.error_c if error_c is None else error_c
    first = float(fit.time_min[0])
    shifted = fit.time_min - first
    room = fit.room_c if fit.room_known else None
    best = float(_parts(np.array([fit.rate_per_min]), shifted, fit.temp_c, room)[2][0])
    allowed = best + ((fit.factor if factor is None else factor) * error) ** 2
    centre = float(minutes_to(target_c, fit.start_c, fit.room_c, fit.rate_per_min))

    def outside(time: float) -> bool:
        least = _least(
            lambda rate: _through(rate, shifted, fit.temp_c, room, target_c, time - first),
            value=True,
        )
        return least is None or least > allowed

    if math.isnan(centre):
        return math.nan, math.nan
    return _edge(outside, centre, -1.0), _edge(outside, centre, 1.0)


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


def _least(squares: Callable[[Floats], Floats], *, value: bool = False) -> float | None:
    """The rate with the least squares, or that least value; ``None`` at the edge of what is
    searched."""
    logs = np.linspace(math.log(_SLOWEST), math.log(_FASTEST), _GRID)
    found = squares(np.exp(logs))
    at = int(np.argmin(found))
    if not value and at in (0, _GRID - 1):
        return None
    for _ in range(2 if value else 4):
        low, high = logs[max(at - 1, 0)], logs[min(at + 1, len(logs) - 1)]
        logs = np.linspace(low, high, 33)
        found = squares(np.exp(logs))
        at = int(np.argmin(found))
    return float(found[at]) if value else float(np.exp(logs[at]))


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
