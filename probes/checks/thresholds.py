"""The thresholds of all checks: their defaults, what a farm file sets, and how far they look."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import timedelta
from typing import Any

from probes.checks.attenuated import Attenuated
from probes.checks.climatology import Climatology
from probes.checks.daily_range import DailyRange
from probes.checks.daily_wave import DAY_H
from probes.checks.flat_line import FlatLine, find_slower
from probes.checks.gross_range import GrossRange
from probes.checks.neighbours import Neighbours
from probes.checks.power_on import PowerOn
from probes.checks.rate_of_change import RateOfChange
from probes.checks.results import EACH_ALONE, TESTS
from probes.checks.spike import Spike
from probes.soil.damped_wave import YEAR_D

MOST = 10_000
"""More than any number may be: thousands of years have no dates."""

SIGNED = ("power_on.power_on_c", "power_on.disconnected_c")
"""The numbers that may be below 0; of the others each is a size."""

ON_SPIKES = frozenset({"spike", "climatology", "daily_range", "neighbours"})
"""The spike test, and those that leave out what it finds."""

RISING = (
    ("spike.suspect_c", "spike.fail_c"),
    ("flat_line.suspect_h", "flat_line.fail_h"),
    ("attenuated.fail_c", "attenuated.suspect_c"),
    ("climatology.needs_years", "climatology.years"),
)
"""What must not be more than what."""


@dataclass(frozen=True)
class Thresholds:
    """Those of each test, under its name; every number with its default and where it comes from."""

    gross_range: GrossRange = field(default_factory=GrossRange)
    power_on: PowerOn = field(default_factory=PowerOn)
    spike: Spike = field(default_factory=Spike)
    rate_of_change: RateOfChange = field(default_factory=RateOfChange)
    flat_line: FlatLine = field(default_factory=FlatLine)
    attenuated: Attenuated = field(default_factory=Attenuated)
    climatology: Climatology = field(default_factory=Climatology)
    daily_range: DailyRange = field(default_factory=DailyRange)
    neighbours: Neighbours = field(default_factory=Neighbours)


@dataclass(frozen=True)
class Reach:
    """How far the flag of a reading looks.

    A reading that is new or gone may change flags from `after` before it to `before` after it;
    those are right once computed from the readings `before` and `after` around them.
    """

    before: timedelta
    after: timedelta


def read_thresholds(spec: Mapping[str, Mapping[str, Any]]) -> Thresholds:
    """Return the defaults with what a table of a farm file sets.

    Parameters
    ----------
    spec : mapping of test to a mapping of its thresholds
        As in {"spike": {"suspect_c": 5.0}}; a list stands for a pair.

    Raises
    ------
    ValueError
        When a name is unknown or a value cannot be, with what to write instead.
    """
    thresholds = Thresholds()
    for test, values in spec.items():
        if test not in TESTS:
            raise ValueError(f"'{test}' is no check; the checks are {', '.join(TESTS)}")
        default = getattr(thresholds, test)
        names = [each.name for each in fields(default)]
        unknown = [name for name in values if name not in names]
        if unknown:
            raise ValueError(f"{test} has no threshold '{unknown[0]}'; it has {', '.join(names)}")
        given = {
            name: _read_value(f"{test}.{name}", value, getattr(default, name))
            for name, value in values.items()
        }
        thresholds = replace(thresholds, **{test: replace(default, **given)})
    for lower, upper in RISING:
        low, high = (_look_up(thresholds, where) for where in (lower, upper))
        if low > high:
            raise ValueError(f"{lower} = {low:g} is more than {upper} = {high:g}")
    return thresholds


def reach(thresholds: Thresholds, deepest_cm: float, tests: Collection[str] = TESTS) -> Reach:
    """Return how far the flags by some tests look.

    Parameters
    ----------
    thresholds : Thresholds
    deepest_cm : float
        Of the probes: a flat line takes longer with depth. [cm]
    tests : collection of str
        Of TESTS.
    """
    power_on_h = thresholds.power_on.longest_gap_h
    spike_h = 2 * thresholds.spike.longest_gap_h
    rate_h = 3 * thresholds.rate_of_change.longest_gap_h
    flat, attenuated = thresholds.flat_line, thresholds.attenuated
    wave, climatology = thresholds.neighbours, thresholds.climatology
    wave_h = DAY_H * (wave.days + 1) + 1 + wave.longest_gap_h + spike_h
    back_h = {
        "gross_range": 0.0,
        "power_on": power_on_h,
        "spike": spike_h,
        "rate_of_change": rate_h,
        "flat_line": flat.fail_h * find_slower(deepest_cm, flat) + flat.longest_gap_h,
        "attenuated": attenuated.window_h + attenuated.longest_gap_h,
        "climatology": DAY_H * (climatology.years * YEAR_D + climatology.around_days + 2) + spike_h,
        "daily_range": wave_h,
        "neighbours": wave_h,
    }
    # what power-on disbelieves is left out of the tests behind it, and spikes out of the days
    furthest_h = max(back_h[test] + (test not in EACH_ALONE) * power_on_h for test in tests)
    waits = thresholds.spike.later and not ON_SPIKES.isdisjoint(tests)
    return Reach(
        before=timedelta(hours=furthest_h),
        after=timedelta(hours=thresholds.spike.longest_gap_h if waits else 0),
    )


def _look_up(thresholds: Thresholds, where: str) -> float:
    test, name = where.split(".")
    return getattr(getattr(thresholds, test), name)


def _read_value(where: str, value: Any, default: Any) -> Any:
    """Return a value of the kind of its default."""
    if isinstance(default, tuple):
        if not isinstance(value, list | tuple) or len(value) != len(default):
            raise ValueError(f"{where} = {value!r} is no pair; write it as {list(default)}")
        low, high = (_read_number(where, each, None) for each in value)
        if low >= high:
            raise ValueError(f"{where} = {value!r}; write the lower one first")
        return low, high
    if isinstance(default, bool):
        if not isinstance(value, bool):
            raise ValueError(f"{where} = {value!r}; write true or false")
        return value
    number = _read_number(where, value, 0.0 if where not in SIGNED else None)
    if isinstance(default, int) and (not isinstance(number, int) or number < 1):
        raise ValueError(f"{where} = {value!r}; write a whole number of at least 1")
    if where.endswith(".damping_cm") and number == 0:
        raise ValueError(f"{where} = {value!r}; write more than 0")
    return number


def _read_number(where: str, value: Any, least: float | None) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise ValueError(f"{where} = {value!r} is no number")
    if abs(value) > MOST:
        raise ValueError(f"{where} is too large; write {MOST} or less")
    if least is not None and value < least:
        raise ValueError(f"{where} = {value!r}; write {least:g} or more")
    return value
