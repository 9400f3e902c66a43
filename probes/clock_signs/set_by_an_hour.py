"""Whether someone set the clock by an hour, which looks like one hour missing or there twice.

An hour that is missing is ordinary, and so are repeated rows. Two things must say that the clock
was set: the temperatures on both sides run into each other as if no hour lay between them, and the
daily wave comes an hour later, or earlier, from then on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from probes.clock_signs.daily_waves import DAY_H, find_daily_waves, hour_of
from probes.clock_signs.summer_time import DAY, find_changes
from probes.frames import LoggerFile

SIDE_H = 4
"""Hours looked at on either side, a reading of each."""
DEGREE = 3
"""Of the polynomial that soil follows over them."""
LEAST_SCORE = 1.0
LEAST_MOVE_H = 0.5
"""Measured on [US-TW3] and [UTAH-PROFILE] with 27,000 hours taken out or repeated: of them 2 in
10,000 were taken for a clock that was set, at one single depth up to 1 in 1,000. A clock that was
set on is seen 6 to 7 times in 10 with two probes at 8 to 30 cm and 4 in 10 with one; one that was
set back 9 and 7 times; below 40 cm next to none. Files of less than 10 days cannot show it."""

FEWEST_DAYS, MOST_DAYS = 3, 7
"""Of waves on either side; a delivery that has fewer says nothing."""
LEAST_AMPLITUDE_C = 0.3
LEAST_NOISE_C = 0.01
FEWEST_WINDOWS = 24

TOLERANCE_US = 60_000_000
HOUR_US = 3_600_000_000


@dataclass(frozen=True)
class _Depth:
    """Readings of one depth as they stand in the file, turned to run forward."""

    depth_cm: float
    time_us: NDArray[np.int64]
    soil_temp_c: NDArray[np.float64]
    interval_min: float

    @cached_property
    def steps_us(self) -> NDArray[np.int64]:
        """From each reading to the next."""
        return np.diff(self.time_us)

    def steps(self, way: int) -> NDArray[np.intp]:
        """Return the places of the readings after which time steps an hour too far on or back."""
        step_us = round(self.interval_min * 60e6) + way * HOUR_US
        return np.flatnonzero(np.abs(self.steps_us - step_us) <= TOLERANCE_US)

    def place_of(self, before_us: int, way: int) -> int | None:
        """Return the place of the reading before a step."""
        places = self.steps(way)
        return next((int(place) for place in places if self.time_us[place] == before_us), None)

    @property
    def offsets(self) -> NDArray[np.intp]:
        """Places of hourly readings on both sides of a step, the last before it being 0."""
        before = -round(60 / self.interval_min) * np.arange(SIDE_H)[::-1]
        return np.concatenate([before, 1 - before[::-1]])

    @property
    def hours(self) -> NDArray[np.float64]:
        """When they were read, if the step is none [h]."""
        return self.offsets * self.interval_min / 60

    @cached_property
    def usually_left(self) -> float:
        """The median sum of squares that a curve leaves of this depth; NaN: not known [degC2]."""
        offsets, hours = self.offsets, self.hours
        first = np.arange(-offsets[0], self.time_us.size - offsets[-1])
        spans_us = self.time_us[first + offsets[-1]] - self.time_us[first + offsets[0]]
        first = first[np.abs(spans_us - (hours[-1] - hours[0]) * HOUR_US) <= TOLERANCE_US]
        if first.size < FEWEST_WINDOWS:
            return np.nan
        readings_c = self.soil_temp_c[first[:, None] + offsets]
        left = np.einsum("ni,ij,nj->n", readings_c, _residual_maker(hours), readings_c)
        return max(float(np.median(left)), offsets.size * LEAST_NOISE_C**2)


def find_set_by_an_hour(
    file: LoggerFile,
    depth_cm: Mapping[str, float],
    longitude_deg: float,
    interval_min: float,
    zone: str,
) -> list[str]:
    """Return where a clock was set on or back by an hour.

    Parameters
    ----------
    file : LoggerFile
    depth_cm : mapping of str to float
        Of each channel.
    longitude_deg : float
        East of Greenwich.
    interval_min : float
        Between readings; only of loggers that keep each hour alike something is said.
    zone : str
        Of the clock, or of the site; its nights are looked at by `summer_time`.
    """
    if 60 % interval_min:
        return []
    depths = list(_depths_of(file, depth_cm, interval_min))
    return [
        sign
        for way in (1, -1)
        for before_us in _shared_steps(depths, way)
        if not _is_night_of_change(before_us, zone)
        for sign in _judge(depths, before_us, way, longitude_deg)
    ]


def _depths_of(
    file: LoggerFile, depth_cm: Mapping[str, float], interval_min: float
) -> Iterator[_Depth]:
    """Yield the depths that have readings, the shallowest first."""
    for channel, at_cm in sorted(depth_cm.items(), key=lambda item: item[1]):
        if channel not in file.channels:
            continue
        soil_temp_c = file.soil_temp_c[:, file.channels.index(channel)]
        known = ~np.isnan(soil_temp_c)
        time_us, soil_temp_c = file.observed_at[known].astype(np.int64), soil_temp_c[known]
        if np.sign(np.diff(time_us)).sum() < 0:
            time_us, soil_temp_c = time_us[::-1], soil_temp_c[::-1]
        yield _Depth(at_cm, time_us, soil_temp_c, interval_min)


def _shared_steps(depths: list[_Depth], way: int) -> list[int]:
    """Return after which times [us] every depth that was read then steps an hour too far."""
    found = [set(one.time_us[one.steps(way)].tolist()) for one in depths]
    return sorted(
        at_us
        for at_us in set().union(*found)
        if all(
            at_us in steps or at_us not in one.time_us
            for one, steps in zip(depths, found, strict=True)
        )
    )


def _is_night_of_change(at_us: int, zone: str) -> bool:
    at = np.datetime64(at_us, "us").item().replace(tzinfo=UTC)
    return any(find_changes(zone, at - DAY, at + DAY))


def _judge(depths: list[_Depth], before_us: int, way: int, longitude_deg: float) -> Iterator[str]:
    """Yield the sign of one step, where the curve and the wave both say so."""
    places = [(one, place) for one in depths if (place := one.place_of(before_us, way)) is not None]
    scores = np.array([_score_of_curve(one, place, way) for one, place in places])
    scores = scores[~np.isnan(scores)]
    if not scores.size or scores.sum() / np.sqrt(scores.size) <= LEAST_SCORE:
        return
    for one, place in places:
        moved = _move_of_wave(one, place, longitude_deg)
        if moved is None:
            continue
        moved_h, days = moved
        if way * moved_h > LEAST_MOVE_H:
            yield _say(one.depth_cm, before_us, way, moved_h, days)
        return


def _score_of_curve(one: _Depth, place: int, way: int) -> float:
    """Return how much better a curve fits where the hour is taken away; NaN: not known.

    It is the logarithm of what a curve leaves of the readings as they are stamped, over what it
    leaves without the hour, each on top of what it usually leaves of this depth.
    """
    rows = place + one.offsets
    if rows[0] < 0 or rows[-1] >= one.time_us.size:
        return np.nan
    stamped = one.hours + way * (one.offsets > 0)
    off_us = one.time_us[rows] - one.time_us[place] - stamped * HOUR_US
    if (np.abs(off_us) > TOLERANCE_US).any():
        return np.nan
    readings_c = one.soil_temp_c[rows]
    as_stamped, without = (
        readings_c @ _residual_maker(hours) @ readings_c for hours in (stamped, one.hours)
    )
    freedom = rows.size - DEGREE - 1
    usually = one.usually_left
    return freedom / 2 * float(np.log((as_stamped + usually) / (without + usually)))


def _residual_maker(hours: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the matrix of the sum of squares that a polynomial over these hours leaves."""
    basis, _ = np.linalg.qr(np.vander(hours / SIDE_H, DEGREE + 1))
    return np.eye(hours.size) - basis @ basis.T


def _move_of_wave(one: _Depth, place: int, longitude_deg: float) -> tuple[float, int] | None:
    """Return by how much the daily wave comes later after a step [h], and of how many days.

    None where the wave is too small, or too few days are whole.
    """
    reach = round((MOST_DAYS + 2) * 1440 / one.interval_min)
    after = place + 1
    before, later = (
        find_daily_waves(
            one.time_us[part].astype("datetime64[us]"),
            one.soil_temp_c[part],
            longitude_deg,
            one.interval_min,
        ).wave_c
        for part in (slice(max(0, after - reach), after), slice(after, after + reach))
    )
    days = min(before.size, later.size)
    if days < FEWEST_DAYS or min(abs(before.mean()), abs(later.mean())) < LEAST_AMPLITUDE_C:
        return None
    moved_h = hour_of(later.mean() / before.mean())
    return (moved_h - DAY_H if moved_h > DAY_H / 2 else moved_h), days


def _say(depth_cm: float, before_us: int, way: int, moved_h: float, days: int) -> str:
    at = f"{np.datetime64(before_us, 'us').item():%Y-%m-%d %H:%M} UTC"
    what = f"an hour is missing after {at}" if way > 0 else f"an hour is there twice after {at}"
    set_to, comes = ("on", "later") if way > 0 else ("back", "earlier")
    return (
        f"{what}, as if the clock had been set {set_to} by an hour: the temperatures on both sides "
        f"run into each other without it, and the daily wave at {depth_cm:g} cm comes "
        f"{abs(moved_h):.1f} h {comes} from then on ({days} days and more): if someone set it, "
        "declare clock_corrections for the stamps that were wrong"
    )
