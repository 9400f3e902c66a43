"""Logger files, read as their layout declares: readings in UTC and degC, and what was not read.

The stages stand in modules of their own: `unpacking` (packed -> bytes), `logger_lines` (bytes ->
lines), `logger_rows` (lines -> header -> rows of cells), `stamps` (text -> UTC -> order in time)
and `temperatures` (cells -> degC by channel).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from probes.clock_corrections import ClockCorrection, find_shifts
from probes.frames import LoggerFile, Reject
from probes.layouts import LATEST_YEAR, Layout
from probes.logger_lines import Block, FileRefused, read_blocks, shown
from probes.logger_rows import Header, Rows, find_header, find_width, split_rows
from probes.other_headers import HeaderWatch
from probes.rejects import MOST_TOLD, Rejects
from probes.stamps import find_out_of_order, read_stamps
from probes.stated_units import check_stated_units
from probes.temperatures import OF_ANOTHER, read_temperatures
from probes.unpacking import Packing, find_packing, layout_unpacked, open_unpacked
from probes.wall_times import check_time_format

__all__ = ["FileRefused", "read_logger_file"]

LOGGERS_TOLD = 10
_AND_MORE = "..."
OUT_OF_ORDER = "stands out of order in time"


@dataclass(frozen=True)
class _Table:
    """Rows whose time is known; `soil_temp_c` as `temperatures.read_temperatures` has it."""

    line: NDArray[np.int64]
    observed_at: NDArray[np.datetime64]
    soil_temp_c: NDArray[np.float64]
    shift: NDArray[np.timedelta64]

    def where(self, keep: NDArray[np.bool_]) -> _Table:
        return _Table(*(column[keep] for column in vars(self).values()))


@dataclass(frozen=True)
class _Reading:
    """How one file is read: its layout as it comes unpacked, and what only the caller knows."""

    path: Path
    packing: Packing
    layout: Layout
    logger_id: str | None
    latest_year: int
    clock_corrections: Sequence[ClockCorrection]


def read_logger_file(
    path: Path,
    layout: Layout,
    progress: Callable[[int], None] | None = None,
    *,
    logger_id: str | None = None,
    latest_year: int = LATEST_YEAR,
    clock_corrections: Sequence[ClockCorrection] = (),
) -> LoggerFile:
    """Read a logger file; what cannot be read is rejected line by line, the rest counts.

    Parameters
    ----------
    path : Path
        Plain, or packed as `unpacking` knows it.
    layout : Layout
        Columns of the file that it does not declare are ignored.
    progress : callable, optional
        Told the bytes done of a plain file, after every megabyte.
    logger_id : str, optional
        The logger whose rows are read, where the layout tells several apart.
    latest_year : int
        A year of two digits is the last one, up to this, that ends in them.
    clock_corrections : sequence of ClockCorrection
        Applied to the stamps as they stand in the file, before the order of rows is judged.

    Returns
    -------
    LoggerFile
        The cells of its rows are finite values, missing codes and rejected cells, which add up.
        Rejects stand in the order of their lines; in long form all rows of a depth that the layout
        does not know are one, and so are those of one kind where there are thousands.

    With `order = "time"` rows must run one way in time: forward or backward, whichever most steps
    do; in long form those of each depth. The longest ordered run of rows is kept and what lies
    outside it is rejected, except a row that repeats the time of an earlier one: the store tells
    an identical reading from a conflicting one.

    Raises
    ------
    FileRefused
        When the file as a whole cannot be read: it is empty, its header lacks a declared column,
        names one twice or states another unit, it holds no row of the logger, it is packed badly,
        or the layout's time format or encoding cannot be used.
    """
    try:
        check_time_format(layout.time_format)
    except ValueError as error:
        raise FileRefused(f"{path.name}: {error} in layout.{layout.name}") from None
    if layout.logger is not None and logger_id is None:
        raise FileRefused(
            f"{path.name}: column '{layout.logger}' tells loggers apart; say whose rows to read"
        )
    packing = find_packing(path)
    unpacked = layout_unpacked(layout, packing)
    how = _Reading(path, packing, unpacked, logger_id, latest_year, clock_corrections)
    with closing(open_unpacked(path, layout, packing)) as content:
        blocks = read_blocks(
            content, path.name, how.layout.encoding, progress if packing == "plain" else None
        )
        table, rejects, others = _read_blocks(blocks, how)
    if how.layout.order == "time":
        table = _keep_order(table, rejects, how)
    soil_temp_c = table.soil_temp_c
    return LoggerFile(
        channels=tuple(layout.columns),
        line=table.line,
        observed_at=table.observed_at,
        soil_temp_c=np.where(np.isinf(soil_temp_c), np.nan, soil_temp_c),
        missing=int(np.isnan(soil_temp_c).sum()),
        rejects=rejects.tell(),
        others=others,
        shift=table.shift,
    )


def _read_blocks(blocks: Iterator[Block], how: _Reading) -> tuple[_Table, Rejects, int]:
    """Read the rows of all blocks; return them, what was not read, and how many rows of others."""
    layout = how.layout
    first = next(blocks, None)
    if first is None:
        raise FileRefused(f"{how.path.name}: the file is empty; export it again")
    header = find_header(first.lines, layout, how.path.name)
    first = first.after(header.line)
    check_stated_units(header, first.lines, layout, how.path.name)
    width = find_width(first.lines, header, layout.delimiter)
    watch = HeaderWatch(header, layout)
    tables: list[_Table] = []
    rejects = Rejects()
    others: dict[str, int] = {}
    for block in chain([first], blocks):
        rows, no_rows = split_rows(block, header, width, layout)
        if layout.logger is not None:
            rows = _rows_of_logger(rows, header, how, others)
        table, unread, timeless = _read_rows(rows, header, how)
        above = watch.lines_below_another(block, table.line, timeless)
        if above.any():
            table, unread = _reject_below(table, unread, above, block, layout)
        tables.append(table)
        rejects.add(sorted(no_rows + unread, key=lambda reject: reject.line))
    table = _Table(
        np.concatenate([each.line for each in tables]),
        np.concatenate([each.observed_at for each in tables]),
        np.concatenate([each.soil_temp_c for each in tables]),
        np.concatenate([each.shift for each in tables]),
    )
    if others and not table.line.size and not rejects:
        names = ", ".join(f"'{shown(name)}'" for name in list(others)[:LOGGERS_TOLD])
        raise FileRefused(
            f"{how.path.name}: no row of logger '{how.logger_id}' in column '{layout.logger}', "
            f"which names {names}"
        )
    return table, rejects, sum(others.values())


def _rows_of_logger(rows: Rows, header: Header, how: _Reading, others: dict[str, int]) -> Rows:
    """Return the rows of the logger, and count those of others by their name."""
    names = [name.strip() for name in rows.columns[header.names.index(how.layout.logger or "")]]
    for name, count in Counter(names).items():
        if name != how.logger_id:
            known = name if name in others or len(others) < LOGGERS_TOLD else _AND_MORE
            others[known] = others.get(known, 0) + count
    return rows.where(np.array([name == how.logger_id for name in names], np.bool_))


def _read_rows(rows: Rows, header: Header, how: _Reading) -> tuple[_Table, list[Reject], list[int]]:
    """Read the times and temperatures of rows; the last: the lines that have no time."""
    layout = how.layout
    time_columns = [map(str.strip, rows.columns[header.names.index(name)]) for name in layout.time]
    stamps = list(map(" ".join, zip(*time_columns, strict=True)))
    observed_at, reasons = read_stamps(stamps, layout, how.latest_year)
    rejects = [
        Reject(int(rows.line[place]), reason, shown(rows.text[place]), layout.readings_in_row)
        for place, reason in reasons.items()
    ]
    soil_temp_c, unreadable = read_temperatures(rows, header, layout)
    rejects += [reject for place, reject in unreadable if place not in reasons]
    stamped_at = observed_at - layout.stamp_to_end
    shift = find_shifts(stamped_at, how.clock_corrections)
    table = _Table(rows.line, observed_at + shift, soil_temp_c, shift)
    timeless = [int(rows.line[place]) for place in reasons]
    return table.where(~np.isnat(observed_at)), rejects, timeless


def _reject_below(
    table: _Table, unread: list[Reject], above: NDArray[np.int64], block: Block, layout: Layout
) -> tuple[_Table, list[Reject]]:
    """Reject the rows that stand below another header."""
    other = above[table.line - block.first_line]
    lost = dict(zip(table.line[other > 0].tolist(), other[other > 0].tolist(), strict=True))
    rejects = [reject for reject in unread if reject.line not in lost]
    rejects += [
        Reject(
            line,
            f"stands below another header, line {header}: its columns may mean other things, or "
            "have another unit; give that part a file and a layout of its own",
            shown(block.lines[line - block.first_line]),
            layout.readings_in_row,
        )
        for line, header in lost.items()
    ]
    return table.where(other == 0), rejects


def _find_out_of_order(table: _Table) -> NDArray[np.bool_]:
    """Return which rows break the order in time; in long form, that of their depth."""
    of_channel = table.soil_temp_c != OF_ANOTHER
    if of_channel.all():
        return find_out_of_order(table.observed_at)
    out_of_order = np.zeros(table.line.size, np.bool_)
    for channel in of_channel.T:
        out_of_order[channel] = find_out_of_order(table.observed_at[channel])
    return out_of_order


def _keep_order(table: _Table, rejects: Rejects, how: _Reading) -> _Table:
    """Reject the rows that stand out of order, and with them what was said of their cells."""
    out_of_order = _find_out_of_order(table)
    if not out_of_order.any():
        return table
    lost = dict(
        zip(
            table.line[out_of_order].tolist(),
            table.observed_at[out_of_order].tolist(),
            strict=True,
        )
    )
    # The text of rows is not kept while a file is read, so it is looked up again.
    shown_of = set(islice(lost, MOST_TOLD + 1))
    with closing(open_unpacked(how.path, how.layout, how.packing)) as content:
        texts = {
            number: shown(line)
            for block in read_blocks(content, how.path.name, how.layout.encoding)
            for number, line in enumerate(block.lines, block.first_line)
            if number in shown_of
        }
    rejects.drop(lost)
    rejects.add(
        Reject(
            line,
            f"{instant:%Y-%m-%d %H:%M} UTC {OUT_OF_ORDER}: the clock jumped here; "
            "set the logger's clock, or where rows stand in no order "
            f'set order = "any" in layout.{how.layout.name}',
            texts.get(line, ""),
            how.layout.readings_in_row,
        )
        for line, instant in lost.items()
    )
    return table.where(~out_of_order)
