"""The unit of temperatures as a file's own header or line of units states it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from probes.layouts import Layout
from probes.logger_lines import FileRefused, shown
from probes.logger_rows import Header, split_line
from probes.units import Unit

UNITS_WITHIN = 5
"""Lines below a header among which its line of units is looked for."""

_DEGREE = r"(?:°|º|\bdeg(?:rees?)?\.?)\s*"
# A bare letter states nothing: loggers also call their probes A to F.
SPELLED: dict[Unit, str] = {
    "C": rf"{_DEGREE}C(?![a-z])|℃|celsius|[\[(]\s*o?C\s*[\])]",
    "F": rf"{_DEGREE}F(?![a-z])|℉|fahrenheit|[\[(]\s*o?F\s*[\])]",
}


def find_stated_unit(text: str) -> Unit | None:
    """Return the unit that a text spells out, None where that is neither or both."""
    found: list[Unit] = [
        unit for unit, way in SPELLED.items() if re.search(way, text, re.IGNORECASE)
    ]
    return found[0] if len(found) == 1 else None


def check_stated_units(header: Header, below: Sequence[str], layout: Layout, file: str) -> None:
    """Refuse a file whose header, or the line of units below it, contradicts the layout.

    Parameters
    ----------
    header : Header
    below : sequence of str
        The lines that follow it.
    layout : Layout
    file : str
        For the message.

    Raises
    ------
    FileRefused
    """
    for number, line in enumerate([header.text, *below[:UNITS_WITHIN]], header.line):
        cells = split_line(line, layout.delimiter)
        if number == header.line or is_line_of_units(cells, header, layout):
            find = find_stated_unit if number == header.line else _of_cell
            for cell in _of_temperatures(cells, header, layout):
                unit = find(cell)
                if unit not in (None, layout.unit):
                    raise FileRefused(
                        f"{file}: line {number} states °{unit} ('{shown(cell.strip())}') where "
                        f'layout.{layout.name} has unit = "{layout.unit}"; correct unit there if '
                        "the file is right, or else the file"
                    )


def is_line_of_units(cells: Sequence[str], header: Header, layout: Layout) -> bool:
    """Return whether a line has nothing but a unit of temperature where rows have temperatures."""
    own = _of_temperatures(cells, header, layout)
    return bool(own) and all(_of_cell(cell) is not None for cell in own if cell.strip())


def has_other_unit(line: str, header: Header, layout: Layout) -> bool:
    """Return whether a line amid the rows states another unit than the layout."""
    cells = split_line(line, layout.delimiter)
    units = map(_of_cell, _of_temperatures(cells, header, layout))
    return is_line_of_units(cells, header, layout) and any(
        unit not in (None, layout.unit) for unit in units
    )


def _of_temperatures(cells: Sequence[str], header: Header, layout: Layout) -> list[str]:
    names = layout.columns if layout.value is None else (layout.value,)
    places = [header.names.index(name) for name in names]
    return [cells[place] for place in places] if max(places) < len(cells) else []


def _of_cell(cell: str) -> Unit | None:
    bare: dict[str, Unit] = {"C": "C", "F": "F"}
    return bare.get(cell.strip().upper()) or find_stated_unit(cell)
