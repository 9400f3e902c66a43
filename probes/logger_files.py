"""Logger files, read as their layout declares: readings in UTC and degC, and what was not read.

The stages stand in modules of their own: `logger_lines` (bytes -> lines), `logger_rows` (lines ->
header -> rows of cells), `stamps` (text -> UTC -> order in time) and `cells` (text -> numbers).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probes.cells import CellRules, explain_cell, find_cell_rules, read_column
from probes.frames import LoggerFile, Reject
from probes.layouts import Layout
from probes.logger_lines import FileRefused, read_blocks, shown
from probes.logger_rows import Header, Rows, find_header, find_width, split_rows
from probes.stamps import check_time_format, find_out_of_order, read_stamps
from probes.units import to_c

__all__ = ["FileRefused", "read_logger_file"]


@dataclass(frozen=True)
class _Table:
    """Rows whose time is known; `soil_temp_c` is NaN and infinite as `cells.read_column` has it."""

    line: NDArray[np.int64]
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]

    def where(self, keep: NDArray[np.bool_]) -> _Table:
        return _Table(self.line[keep], self.observed_at[keep], self.soil_temp_c[keep])


def read_logger_file(
    path: Path, layout: Layout, progress: Callable[[int], None] | None = None
) -> LoggerFile:
    """Read a logger file; what cannot be read is rejected line by line, the rest counts.

    Parameters
    ----------
    path : Path
    layout : Layout
        Columns of the file that it does not declare are ignored.
    progress : callable, optional
        Told the bytes done, after every megabyte.

    Returns
    -------
    LoggerFile
        The cells of its rows are finite values, missing codes and rejected cells, which add up.
        Rejects stand in the order of their lines.

    With `order = "time"` rows must run one way in time: forward or backward, whichever most steps
    do. The longest ordered run of rows is kept and what lies outside it is rejected, except a row
    that repeats the time of an earlier one: the store tells an identical reading from a
    conflicting one.

    Raises
    ------
    FileRefused
        When the file as a whole cannot be read: it is empty, its header lacks a declared column or
        names one twice, or the layout's time format or encoding cannot be used.
    """
    try:
        check_time_format(layout.time_format)
    except ValueError as error:
        raise FileRefused(f"{path.name}: {error} in layout.{layout.name}") from None
    blocks = read_blocks(path, layout.encoding, progress)
    first = next(blocks, None)
    if first is None:
        raise FileRefused(f"{path.name}: the file is empty; export it again")
    header = find_header(first.lines, layout, path.name)
    first = first.after(header.line)
    width = find_width(first.lines, header, layout.delimiter)
    rules = find_cell_rules(layout)
    tables: list[_Table] = []
    rejects: list[Reject] = []
    for block in chain([first], blocks):
        rows, no_rows = split_rows(block, header, width, layout)
        table, unread = _read_rows(rows, header, layout, rules)
        tables.append(table)
        rejects += no_rows + unread
    table = _Table(
        np.concatenate([each.line for each in tables]),
        np.concatenate([each.observed_at for each in tables]),
        np.concatenate([each.soil_temp_c for each in tables]),
    )
    if layout.order == "time":
        table, rejects = _keep_order(table, rejects, path, layout)
    return LoggerFile(
        channels=tuple(layout.columns),
        line=table.line,
        observed_at=table.observed_at,
        soil_temp_c=np.where(np.isinf(table.soil_temp_c), np.nan, table.soil_temp_c),
        missing=int(np.isnan(table.soil_temp_c).sum()),
        rejects=tuple(sorted(rejects, key=lambda reject: reject.line)),
    )


def _read_rows(
    rows: Rows, header: Header, layout: Layout, rules: CellRules
) -> tuple[_Table, list[Reject]]:
    """Read the times and temperatures of rows."""
    time_columns = [map(str.strip, rows.columns[header.names.index(name)]) for name in layout.time]
    stamps = [" ".join(cells) for cells in zip(*time_columns, strict=True)]
    observed_at, reasons = read_stamps(stamps, layout)
    rejects = [
        Reject(int(rows.line[place]), reason, shown(rows.text[place]), len(layout.columns))
        for place, reason in reasons.items()
    ]
    soil_temp = np.empty((len(stamps), len(layout.columns)))
    for channel, name in enumerate(layout.columns):
        cells = rows.columns[header.names.index(name)]
        soil_temp[:, channel] = read_column(cells, rules)
        rejects += [
            Reject(
                int(rows.line[place]),
                explain_cell(cells[place], name, layout),
                shown(cells[place]),
                1,
            )
            for place in np.flatnonzero(np.isinf(soil_temp[:, channel]))
            if place not in reasons
        ]
    table = _Table(rows.line, observed_at, to_c(soil_temp, layout.unit))
    return table.where(~np.isnat(observed_at)), rejects


def _keep_order(
    table: _Table, rejects: list[Reject], path: Path, layout: Layout
) -> tuple[_Table, list[Reject]]:
    """Reject the rows that stand out of order, and with them what was said of their cells."""
    out_of_order = find_out_of_order(table.observed_at)
    if not out_of_order.any():
        return table, rejects
    lost = {
        int(line): instant.item()
        for line, instant in zip(
            table.line[out_of_order], table.observed_at[out_of_order], strict=True
        )
    }
    # The text of rows is not kept while a file is read, so it is looked up again.
    texts = {
        number: line
        for block in read_blocks(path, layout.encoding)
        for number, line in enumerate(block.lines, block.first_line)
        if number in lost
    }
    rejects = [reject for reject in rejects if reject.line not in lost]
    rejects += [
        Reject(
            line,
            f"{instant:%Y-%m-%d %H:%M} UTC stands out of order in time: the clock jumped here; "
            "set the logger's clock, or where rows stand in no order "
            f'set order = "any" in layout.{layout.name}',
            shown(texts[line]),
            len(layout.columns),
        )
        for line, instant in lost.items()
    ]
    return table.where(~out_of_order), rejects
