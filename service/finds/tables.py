"""A table of digs as CSV: a vine a line."""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from io import StringIO

from alerts.dig.records import DigRecord
from alerts.dig.written import CELLS, NEEDED, read_written, write_cells
from probes.frames import Reject
from service.csv_cells import guard_cells, read_guarded
from service.csv_tables import TableError, open_table

TOLD_ONLY = ("outcome", "photos")
"""Columns that `finds list` prints beside `CELLS`; what stands in them is not read."""


@dataclass(frozen=True)
class DigTable:
    """What a table holds: records, and the lines that do not count."""

    records: list[DigRecord]
    rejects: list[Reject]


def read_digs(content: bytes, block_ids: Collection[str], today: date) -> DigTable:
    """Read a table whose columns are some of `CELLS`, with comma, semicolon or tab between cells.

    Raises
    ------
    TableError
        Where the table as a whole cannot be read.
    """
    written = open_table(content)
    names = written.names
    _check_header(names)
    table = DigTable([], [])
    stands: dict[str, int] = {}
    for start, texts in written.lines:
        try:
            if len(texts) != len(names):
                raise ValueError(f"it has {len(texts)} cells, the header has {len(names)} names")
            cells = dict(zip(names, map(read_guarded, texts), strict=True))
            record = read_written(cells, block_ids, today)
            if record.record_id in stands:
                raise ValueError(
                    f"'row {record.vine[0]}, vine {record.vine[1]}' stands in line "
                    f"{stands[record.record_id]} already, of the same day and person; which "
                    "counts? Two digs at one vine need a record_id each"
                )
        except ValueError as error:
            table.rejects.append(
                Reject(start, str(error), written.delimiter.join(texts).strip(), 1)
            )
            continue
        stands[record.record_id] = start
        table.records.append(record)
    return table


def _check_header(names: Collection[str]) -> None:
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise TableError(
            f"the first line names no column {', '.join(missing)}; it needs {','.join(NEEDED)}"
        )
    for name in names:
        if name not in (*CELLS, *TOLD_ONLY):
            near = get_close_matches(name, CELLS, 1)
            hint = f"did you mean {near[0]}?" if near else f"the columns are {','.join(CELLS)}"
            raise TableError(f"there is no column '{name}'; {hint}")


def write_digs(records: Iterable[DigRecord]) -> str:
    """Return a table of records; `read_digs` gives the same again."""
    text = StringIO(newline="")
    writer = csv.DictWriter(text, CELLS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(guard_cells(write_cells(one)) for one in records)
    return text.getvalue()
