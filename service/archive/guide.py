"""What a person who is given an archive reads first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from importlib.metadata import version

from service.archive.tables import PARTITIONS, TABLES
from service.store.frozen import describe_frozen

TITLE = "# Soil temperatures, exported by Digseason"

_INTRODUCTION = """\
Two tables in the Parquet format, in folders `site=ID/year=YYYY` (Hive layout). `readings` holds
each reading as it was measured, suspect and failed ones too: see its flag. `daily` holds the daily
means. Rows stand by logger, probe and time. Units and meanings also stand in each file, with the
checks and the clock of its site. No window rule has a part in any of this. `sha256sum --check
SHA256SUMS` says whether all is as it was written.
"""

_READING = """\
## To read them

    pandas.read_parquet("readings")
    polars.scan_parquet("readings", hive_partitioning=True)
    dask.dataframe.read_parquet("readings")
    SELECT * FROM read_parquet('readings/*/*/*.parquet', hive_partitioning = true)  -- DuckDB

Ids of sites that all look like numbers or dates are read as such; a reader can be told otherwise.
"""


def write_guide(
    selection: str,
    span: tuple[date, date],
    rows: Mapping[str, int],
    frozen_before: date | None,
) -> str:
    """Return the guide of an archive.

    selection : what was exported, in words
    span : the first and the last day of it
    rows : how many there are in each table
    frozen_before : before which day readings are kept as daily means only; None: all are kept
    """
    tables = "\n".join(_describe(name) for name in TABLES)
    counts = ", ".join(f"{rows[name]:,} rows in `{name}`" for name in TABLES)
    exported = f"Exported by Digseason {version('digseason')}: {selection}. "
    exported += f"From {span[0]} to {span[1]}: {counts}."
    if frozen_before:
        exported += f" In the store {describe_frozen(frozen_before)}, but for some weeks."
    return "\n".join([TITLE, "", _INTRODUCTION, exported, "", tables, _READING])


def _describe(name: str) -> str:
    rows = [
        (field.name, str(field.type), told.get("units", ""), told["long_name"])
        for field, told in (
            (field, {key.decode(): value.decode() for key, value in field.metadata.items()})
            for field in TABLES[name]
        )
    ]
    rows += [(folder, "", "", meaning) for folder, meaning in PARTITIONS.items()]
    return "\n".join([f"## {name}", "", *_lines(rows), ""])


def _lines(rows: Iterable[tuple[str, ...]]) -> list[str]:
    table = [("column", "type", "unit", "meaning"), ("---",) * 4, *rows]
    return [f"| {' | '.join(row)} |" for row in table]
