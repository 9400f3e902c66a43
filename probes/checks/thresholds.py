"""The thresholds of all checks: their defaults, what a farm file sets, and how far they look."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import timedelta
from typing import Any

from probes.checks.gross_range import GrossRange
from probes.checks.results import TESTS


@dataclass(frozen=True)
class Thresholds:
    """Those of each test, under its name; every number with its default and where it comes from."""

    gross_range: GrossRange = field(default_factory=GrossRange)


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
        When a name is unknown or a number cannot be, with what to write instead.
    """
    thresholds = Thresholds()
    known = [each.name for each in fields(Thresholds)]
    for test, values in spec.items():
        if test not in known:
            raise ValueError(f"'{test}' is no check; the checks are {', '.join(known)}")
        default = getattr(thresholds, test)
        names = [each.name for each in fields(default)]
        unknown = [name for name in values if name not in names]
        if unknown:
            raise ValueError(f"{test} has no threshold '{unknown[0]}'; it has {', '.join(names)}")
        given = {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in values.items()
        }
        thresholds = replace(thresholds, **{test: replace(default, **given)})
    return thresholds


def reach(thresholds: Thresholds, tests: Collection[str] = TESTS) -> Reach:
    """Return how far the flags by some tests look."""
    del thresholds, tests
    return Reach(timedelta(0), timedelta(0))
