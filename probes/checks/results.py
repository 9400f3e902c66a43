"""What the checks find: the result of each test of a reading, packed into one integer.

Two bits a test, the first of `TESTS` in the lowest. They count in QARTOD's order of precedence, so
that the greatest is the reading's flag; 0 is a test that was not evaluated, as one added later is.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from probes.frames import FAIL, GOOD, NOT_EVALUATED, SUSPECT

TESTS = (
    "gross_range",
    "power_on",
    "spike",
    "rate_of_change",
    "flat_line",
    "attenuated",
    "climatology",
    "daily_range",
    "neighbours",
)
"""The place of a test is stored with every reading: add at the end, never reorder."""

PROVIDER = "provider"
"""What the network that a reading comes from says of it: no test of ours, kept beside them."""

PLACES: Mapping[str, int] = MappingProxyType(
    {**{test: place for place, test in enumerate(TESTS)}, PROVIDER: 14}
)
"""Where in a code each result stands, the last one apart, so that tests may still be added."""

EACH_ALONE = ("gross_range", "power_on")
"""The tests that come first: what they do not believe is no reading to the others."""

BY_WAVES = frozenset({"daily_range", "neighbours"})
"""The tests that need the daily waves of all probes."""

CHECKS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"standard": TESTS, "range-only": ("gross_range",)}
)
"""The tests that a site's key `checks` stands for."""

_RISING = np.array([NOT_EVALUATED, GOOD, SUSPECT, FAIL], np.int8)
_RANK = np.zeros(FAIL + 1, np.int32)
_RANK[_RISING] = range(_RISING.size)


def pack(results: Mapping[str, NDArray[np.int8]], size: int) -> NDArray[np.int32]:
    """Return the codes of readings from the results of some tests.

    Parameters
    ----------
    results : mapping of test to array of int8, shape (size,)
        GOOD, NOT_EVALUATED, SUSPECT or FAIL; tests left out were not evaluated.
    size : int

    References
    ----------
    [IOOS-QARTOD] for the flags.
    """
    code = np.zeros(size, np.int32)
    for test, flag in results.items():
        code |= _RANK[flag] << 2 * PLACES[test]
    return code


def pack_provider(suspect: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Return the codes of readings that no test has seen, some flagged by their provider."""
    flag = np.where(suspect, SUSPECT, NOT_EVALUATED).astype(np.int8)
    return pack({PROVIDER: flag}, flag.size)


def replace_results(
    code: NDArray[np.int32], found: NDArray[np.int32], tests: Collection[str]
) -> NDArray[np.int32]:
    """Return codes in which some tests have the results of other ones, in the same shape."""
    mask = sum(3 << 2 * PLACES[test] for test in tests)
    return (code & ~mask) | (found & mask)


def unpack(code: NDArray[np.integer] | int) -> dict[str, NDArray[np.int8]]:
    """Return the result of each test and the provider's, in the shape of the codes."""
    codes = np.asarray(code)
    return {test: _RISING[(codes >> 2 * place) & 3] for test, place in PLACES.items()}


def roll_up(code: NDArray[np.integer]) -> NDArray[np.int8]:
    """Return the flag of each reading: of its results the one that comes last in the order
    not evaluated, good, suspect, fail.

    References
    ----------
    [IOOS-QARTOD] with the order of precedence of its open implementation.
    """
    rank = np.zeros(code.shape, np.int64)
    for place in PLACES.values():
        np.maximum(rank, (code >> 2 * place) & 3, out=rank)
    return _RISING[rank]
