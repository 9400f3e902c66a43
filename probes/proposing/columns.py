"""Which columns of an unknown file hold temperatures, at which depth, in which unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from probes.proposing.dialect import NO_READING, Dialect, is_number
from probes.proposing.headers import (
    DEEPEST_CM,
    SHALLOWEST_CM,
    find_depth,
    find_length_unit,
    find_unit,
    is_of_another_kind,
)
from probes.proposing.proposal import FOUND, UNDECIDED, Finding

_DEPTH_NAME = re.compile(r"depth|tiefe|profund|profondeur|level", re.IGNORECASE)
_LOGGER_NAME = re.compile(
    r"logger|device|station|estaci|site|node|serial|unit.?id|probe.?id|^id$|^sn$", re.IGNORECASE
)
MOST_DEPTHS, MOST_LOGGERS = 40, 200


@dataclass(frozen=True)
class Columns:
    """The columns that matter, by place; `depth` and `value` in long form only."""

    values: tuple[int, ...]
    depth: int | None
    logger: int | None
    findings: tuple[Finding, ...]
    remarks: tuple[str, ...]


def find_columns(dialect: Dialect, time_places: Sequence[int]) -> Columns:
    """Return the columns of temperatures with what their names say, and those of long form."""
    names = dialect.names
    rest = [place for place in range(len(names)) if place not in time_places and names[place]]
    logger = next((place for place in rest if _tells_loggers_apart(dialect, place)), None)
    rest = [place for place in rest if place != logger]
    findings = []
    if logger is not None:
        known = sorted(set(dialect.column(logger)))
        shown = ", ".join(f"'{name}'" for name in known[:5])
        findings.append(
            Finding("logger", names[logger], f"{len(known)} in the samples: {shown}; their ids")
        )
    depth = next((place for place in rest if _tells_depths_apart(dialect, place)), None)
    numeric = [
        place
        for place in rest
        if place != depth and _is_numeric(dialect, place) and not is_of_another_kind(names[place])
    ]
    if depth is not None:
        warm = [place for place in numeric if re.search("temp|value|wert|°", names[place], re.I)]
        value = next(iter([*warm, *numeric]), None)
        if value is not None:
            findings += _long_findings(dialect, depth, value)
            left = [place for place in rest if place not in (depth, value)]
            return Columns((value,), depth, logger, tuple(findings), _not_declared(names, left))
    finding, taken = _wide_finding(dialect, numeric)
    left = [place for place in rest if place not in taken]
    remarks = _not_declared(names, left)
    return Columns(tuple(taken), None, logger, (*findings, finding), remarks)


def find_unit_of(dialect: Dialect, columns: Columns) -> Finding:
    """Return the unit of the temperatures: by their headers, by the lines above, or undecided."""
    names = [dialect.names[place] for place in columns.values]
    stated = {unit for name in names if (unit := find_unit(name)) is not None}
    if len(stated) > 1:
        return Finding("unit", None, "the headers name both °C and °F", UNDECIDED)
    if stated:
        shown = next(name for name in names if find_unit(name))
        return Finding("unit", stated.pop(), f"header '{shown}'")
    for line in dialect.above:
        unit = find_unit(line)
        if unit is not None:
            return Finding("unit", unit, f"line '{line.strip()[:60]}' above the rows")
    numbers = sorted(
        float(cell.replace(",", "."))
        for place in columns.values
        for cell in dialect.column(place)
        if is_number(cell)
    )
    middle = numbers[len(numbers) // 2] if numbers else 0.0
    if middle > 45:
        hint = f"half of the values exceed {middle:g}, which no soil does in °C: °F?"
    else:
        hint = f"half of the values lie below {middle:g}, which soil has in °C, or in °F in winter"
    return Finding("unit", None, f"no header names one; {hint}", UNDECIDED)


def _wide_finding(dialect: Dialect, numeric: list[int]) -> tuple[Finding, list[int]]:
    """Return the depth columns, and their places."""
    names = dialect.names
    if not dialect.header_line:
        numbers = ", ".join(names[place] for place in numeric)
        evidence = f"numbers stand in column {numbers}; write the depth of each in cm"
        return Finding("columns", None, evidence, UNDECIDED), numeric
    depths = {place: found for place in numeric if (found := find_depth(names[place])) is not None}
    stated = [place for place, (_, unit) in depths.items() if unit is not None]
    if stated:
        taken = [place for place in stated if SHALLOWEST_CM <= depths[place][0] <= DEEPEST_CM]
        evidence = "depths and their unit stand in the headers"
        certainty = FOUND if taken else UNDECIDED
    else:
        taken = [place for place in depths if SHALLOWEST_CM <= depths[place][0] <= DEEPEST_CM]
        numbers = [depths[place][0] for place in taken]
        if not taken:
            taken, certainty = numeric, UNDECIDED
            evidence = "no header names a depth; write that of each column in cm"
            return Finding("columns", None, evidence, certainty), taken
        certainty = UNDECIDED
        evidence = "the headers name no unit of depth: cm taken, may be inches or metres"
        if numbers == [float(number) for number in range(1, len(numbers) + 1)]:
            evidence = "1, 2, 3 may be the numbers of the channels; write the depth of each in cm"
    value = {names[place]: depths[place][0] for place in taken}
    return Finding("columns", value or None, evidence, certainty), taken


def _long_findings(dialect: Dialect, depth: int, value: int) -> list[Finding]:
    names = dialect.names
    unit = find_length_unit(names[depth])
    texts = sorted(set(dialect.column(depth)) - {""}, key=lambda text: (len(text), text))
    found = {text: find_depth(text, unit) for text in texts}
    depths = {
        text: each[0]
        for text, each in found.items()
        if each is not None and SHALLOWEST_CM <= each[0] <= DEEPEST_CM
    }
    is_stated = unit is not None or all(each and each[1] for each in found.values())
    evidence = f"{len(texts)} texts in '{names[depth]}'"
    if not is_stated:
        evidence += ", which names no unit of depth: cm taken, may be inches or metres"
    return [
        Finding("depth", names[depth], "rows repeat their time, a row for each of its texts"),
        Finding("value", names[value], "the column of numbers beside it"),
        Finding("columns", depths or None, evidence, FOUND if is_stated and depths else UNDECIDED),
    ]


def _tells_loggers_apart(dialect: Dialect, place: int) -> bool:
    texts = set(dialect.column(place)) - {""}
    return bool(_LOGGER_NAME.search(dialect.names[place])) and 1 < len(texts) <= MOST_LOGGERS


def _tells_depths_apart(dialect: Dialect, place: int) -> bool:
    texts = set(dialect.column(place)) - {""}
    if not 1 <= len(texts) <= MOST_DEPTHS:
        return False
    if _DEPTH_NAME.search(dialect.names[place]) and not find_unit(dialect.names[place]):
        return all(find_depth(text) for text in texts)
    stated = [find_depth(text) for text in texts if not is_number(text)]
    return len(stated) == len(texts) > 1 and all(each and each[1] for each in stated)


def _is_numeric(dialect: Dialect, place: int) -> bool:
    filled = [cell for cell in dialect.column(place) if cell and cell.lower() not in NO_READING]
    return bool(filled) and sum(map(is_number, filled)) >= 0.6 * len(filled)


def _not_declared(names: Sequence[str], places: Sequence[int]) -> tuple[str, ...]:
    left = ", ".join(f"'{names[place]}'" for place in places)
    return (f"columns left out: {left}",) if left else ()
