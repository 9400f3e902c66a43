"""What stands for "no reading" in an unknown file, and what looks like one and is left in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from probes.cells import to_number
from probes.layouts import ALL_COLUMNS
from probes.proposing.dialect import NO_READING, Dialect
from probes.proposing.proposal import Finding
from probes.units import c_to_f

SENTINELS = frozenset(
    {-9999.0, -6999.0, -999.0, -999.9, -99.0, -99.9, -99.99, 999.0, 999.9, 7999.0, 9999.0}
)
OPEN_CIRCUIT_C, POWER_ON_C = -127.0, 85.0
"""Of common digital sensors: a broken line, and the value before the first conversion."""

BELIEVABLE_C = (-60.0, 60.0)


def find_missing(
    dialect: Dialect, channels: Sequence[tuple[str, int]], decimal: str, unit: str | None
) -> tuple[Finding, list[str]]:
    """Return the missing codes of each channel, and remarks on cells that are none.

    Parameters
    ----------
    dialect : Dialect
    channels : sequence of (str, int)
        Name and place of each column of temperatures.
    decimal : str
    unit : str or None
        Of the cells; None where it is not known.
    """
    codes: dict[str, list[str]] = {}
    evidence: Counter[str] = Counter()
    power_on = 0
    for name, place in channels:
        own: list[str] = []
        for cell, times in Counter(dialect.column(place)).items():
            number = to_number(cell, decimal)
            if number is None and (not cell or cell.lower() in NO_READING):
                own.append(cell)
                evidence[f"'{cell}'" if cell else "blank cells"] += times
            elif number is None:
                continue  # a word that is unknown: the trial rejects it, with its line
            elif _stands_for_none(number, times, unit):
                own.append(cell)
                evidence[cell] += times
            elif unit is not None and _is(number, POWER_ON_C, unit):
                power_on += times
        codes[name] = sorted(own)
    told = ", ".join(f"{times} x {what}" for what, times in evidence.items())
    if any(
        _is(to_number(code, decimal), OPEN_CIRCUIT_C, unit)
        for own in codes.values()
        for code in own
    ):
        told += " (-127 °C: a broken line of common digital sensors)"
    remarks = []
    if power_on:
        times = "once" if power_on == 1 else f"{power_on} times"
        remarks.append(
            f"85 °C stands there {times}: what common digital sensors say before their first "
            "conversion, though soil in the sun may come near; left in, for the checks to judge"
        )
    numbers = {
        name: [code for code in own if to_number(code, decimal) is not None]
        for name, own in codes.items()
    }
    words = sorted(
        {code for own in codes.values() for code in own if to_number(code, decimal) is None} | {""}
    )
    first = next(iter(numbers.values()), [])
    if all(own == first for own in numbers.values()):
        return Finding("missing", [*words, *first], told or "none seen"), remarks
    by_column = {name: own for name, own in numbers.items() if own}
    return Finding("missing", {**by_column, ALL_COLUMNS: words}, told), remarks


def _stands_for_none(number: float, times: int, unit: str | None) -> bool:
    """Return whether a number lies beyond what soil does, and is a known code or repeats."""
    low, high = _span(unit)
    known = number in SENTINELS or _is(number, OPEN_CIRCUIT_C, unit)
    return not low <= number <= high and not _is(number, POWER_ON_C, unit) and (known or times > 1)


def _span(unit: str | None) -> tuple[float, float]:
    low_c, high_c = BELIEVABLE_C
    if unit == "C":
        return low_c, high_c
    return min(low_c, c_to_f(low_c)), c_to_f(high_c)


def _is(number: float | None, meant_c: float, unit: str | None) -> bool:
    if number is None:
        return False
    meant = {"C": (meant_c,), "F": (c_to_f(meant_c),)}.get(unit or "", (meant_c, c_to_f(meant_c)))
    return any(abs(number - each) < 0.05 for each in meant)
