"""Cells of rows -> temperatures by channel: a column a depth, or in long form a row a depth."""

from __future__ import annotations

from math import inf

import numpy as np
from numpy.typing import NDArray

from probes.cells import UNREADABLE, explain_cell, find_cell_rules, read_column, to_number
from probes.frames import Reject
from probes.layouts import Layout
from probes.logger_lines import shown
from probes.logger_rows import Header, Rows
from probes.units import to_c

OF_ANOTHER = -inf
"""What a row of long form has in the channels of other depths."""

NO_DEPTH = "is no depth of the layout"


def read_temperatures(
    rows: Rows, header: Header, layout: Layout
) -> tuple[NDArray[np.float64], list[tuple[int, Reject]]]:
    """Return the temperatures of rows, and what of them cannot be read.

    Parameters
    ----------
    rows : Rows
    header : Header
    layout : Layout

    Returns
    -------
    soil_temp_c : array of float64, shape (n rows, k channels)
        NaN for a missing code, infinite where a cell is rejected, in long form minus infinite in
        the channels of other depths. [degC]
    rejects : list of (int, Reject)
        Each with the place of its row.
    """
    read = _read_long if layout.is_long else _read_wide
    soil_temp, rejects = read(rows, header, layout)
    return to_c(soil_temp, layout.unit), rejects


def _read_wide(
    rows: Rows, header: Header, layout: Layout
) -> tuple[NDArray[np.float64], list[tuple[int, Reject]]]:
    soil_temp = np.empty((rows.line.size, len(layout.columns)))
    rejects = []
    for number, channel in enumerate(layout.columns):
        cells = rows.columns[header.names.index(channel)]
        soil_temp[:, number] = read_column(cells, find_cell_rules(layout, channel))
        rejects += [
            _reject(place, rows, cells[place], explain_cell(cells[place], channel, layout))
            for place in np.flatnonzero(soil_temp[:, number] == UNREADABLE).tolist()
        ]
    return soil_temp, rejects


def _read_long(
    rows: Rows, header: Header, layout: Layout
) -> tuple[NDArray[np.float64], list[tuple[int, Reject]]]:
    depth, value = layout.depth or "", layout.value or ""
    depths = rows.columns[header.names.index(depth)]
    values = rows.columns[header.names.index(value)]
    known = {text: _find_channel(text, layout) for text in set(depths)}
    channels = np.array([known[text] for text in depths], np.int64)
    soil_temp = np.full((rows.line.size, len(layout.columns)), OF_ANOTHER)
    rejects = []
    for number, channel in enumerate(layout.columns):
        places = np.flatnonzero(channels == number)
        cells = [values[place] for place in places]
        numbers = read_column(cells, find_cell_rules(layout, channel))
        soil_temp[places, number] = numbers
        rejects += [
            _reject(place, rows, values[place], explain_cell(values[place], value, layout))
            for place in places[numbers == UNREADABLE].tolist()
        ]
    for place in np.flatnonzero(channels < 0).tolist():
        soil_temp[place, 0] = UNREADABLE  # the reading that is lost is one, of whatever channel
        reason = (
            f"'{shown(depths[place].strip())}' in column '{depth}' {NO_DEPTH}; if it is one, "
            f"add it to columns in layout.{layout.name} and import the file again"
        )
        rejects.append(_reject(place, rows, rows.text[place], reason))
    return soil_temp, rejects


def _find_channel(text: str, layout: Layout) -> int:
    """Return the channel of the text of a depth cell, -1 where there is none; 15.0 meets 15."""
    text = text.strip()
    number = to_number(text, layout.decimal)
    for place, channel in enumerate(layout.columns):
        same = number is not None and number == to_number(channel, layout.decimal)
        if channel == text or same:
            return place
    return -1


def _reject(place: int, rows: Rows, text: str, reason: str) -> tuple[int, Reject]:
    return place, Reject(int(rows.line[place]), reason, shown(text), 1)
