"""An unknown logger file -> a layout, tried on the whole file; what nothing decides stays open."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from probes.clock import IN_STAMP, parse_clock
from probes.logger_files import FileRefused
from probes.proposing.clock_words import Said, find_said, find_spoken
from probes.proposing.clocks import Place, Rows, find_clock
from probes.proposing.columns import Columns, find_columns, find_unit_of
from probes.proposing.dialect import Dialect, find_dialect, why_no_header
from probes.proposing.missing import find_missing
from probes.proposing.proposal import FOUND, UNDECIDED, Finding, Proposal
from probes.proposing.samples import Samples, read_samples
from probes.proposing.time_findings import find_times
from probes.proposing.time_forms import TimeForm, find_time_forms
from probes.proposing.trials import TrialReading, start_trial
from probes.spreadsheets import sheet_names
from probes.unpacking import find_packing

_ORDER = (  # of the farm file's keys
    *("clock", "time", "time_format", "stamp", "interval_min", "unit", "depth", "value", "logger"),
    *("columns", "missing", "header", "skip", "delimiter", "decimal", "encoding", "sheet"),
)


def propose_layout(path: Path, now: datetime, places: Sequence[Place] = ()) -> Proposal:
    """Return a layout for a file, with the evidence for each key and what reading by it gave.

    Parameters
    ----------
    path : Path
    now : datetime
        Bounds what numbers may be times, and what two-digit years mean.
    places : sequence of Place
        Where its logger may stand, of one zone each.

    Only what the file shows is taken for found. For the trial alone, what is open is taken as
    the finding says, the clock as UTC and stamps as ends.

    Raises
    ------
    FileRefused
        When it is empty or packed badly, or no delimiter makes rows of it.
    """
    samples, dialect, sheet = _find_table(path)
    why = why_no_header(dialect)
    if why:
        finding = Finding("columns", None, why, UNDECIDED)
        return Proposal((finding, *_dialect_findings(samples, dialect, sheet)), (), None)
    forms = find_time_forms(dialect, now.year + 1, now)
    columns = find_columns(dialect, forms[0].places if forms else ())
    unit = find_unit_of(dialect, columns)
    decimal = _find_decimal(dialect, columns)
    channels = [(dialect.names[place], place) for place in columns.values]
    missing, remarks = find_missing(dialect, channels, decimal.value or ".", unit.value)
    findings = [
        *find_times(dialect, forms),
        unit,
        *columns.findings,
        missing,
        *_header_findings(dialect),
        *_dialect_findings(samples, dialect, sheet),
        decimal,
    ]
    ids = [None] if columns.logger is None else sorted(set(dialect.column(columns.logger)))
    reading = start_trial(path, findings, ids, now.year + 1)
    clock = _find_clock(dialect, forms[0] if forms else None, reading, findings, places)
    findings = sorted([clock, *findings], key=lambda finding: _ORDER.index(finding.key))
    remarks = [*_seen_above(dialect), *columns.remarks, *remarks]
    trial = reading and reading.try_by(parse_clock(clock.value or "UTC"))
    return Proposal(tuple(findings), tuple(remarks), trial)


def _find_clock(
    dialect: Dialect,
    form: TimeForm | None,
    reading: TrialReading | None,
    findings: Sequence[Finding],
    places: Sequence[Place],
) -> Finding:
    if form is None:
        return find_clock(find_said([], dialect.above), "", None, places)
    if form.in_stamp:
        return Finding("clock", IN_STAMP, "each stamp states its own offset")
    said = find_said([dialect.names[place] for place in form.places], dialect.above)
    if form.time_format.startswith("epoch"):
        said = [Said("UTC", f"{form.time_format} counts from 1970 in UTC", FOUND)]
    return find_clock(said, find_spoken(dialect.above), _rows_of(reading, findings), places)


def _rows_of(reading: TrialReading | None, findings: Sequence[Finding]) -> Rows | None:
    """Return the rows as what says something of the clock; None where they cannot be read."""
    sure = {finding.key for finding in findings if finding.certainty == FOUND}
    if reading is None or not {"time_format", "interval_min"} <= sure:
        return None
    try:
        if not reading.read(parse_clock("UTC")).line.size:
            return None
    except FileRefused:
        return None
    layout = reading.layout
    return Rows(
        reading.read,
        layout.stamp_to_end,
        "stamp" in sure,
        layout.interval_min,
        layout.columns if "columns" in sure else {},
    )


def _find_table(path: Path) -> tuple[Samples, Dialect, Finding | None]:
    """Return what is sampled of a file and how it splits; of a workbook, its first table."""
    sheets = sheet_names(path) if find_packing(path) == "spreadsheet" else []
    for place, sheet in enumerate(sheets or [None]):
        samples = read_samples(path, sheet)
        dialect = find_dialect(samples)
        if dialect is not None:
            told = f"the first of {len(sheets)} sheets that holds a table"
            finding = Finding("sheet", sheet, told) if place else None
            return samples, dialect, finding
    raise FileRefused(f"{path.name}: no delimiter makes rows of two cells or more of it")


def _dialect_findings(samples: Samples, dialect: Dialect, sheet: Finding | None) -> list[Finding]:
    if samples.packing == "spreadsheet":
        return [] if sheet is None else [sheet]
    return [
        Finding("delimiter", dialect.delimiter, dialect.evidence),
        Finding("encoding", samples.encoding, samples.encoding_evidence),
    ]


def _header_findings(dialect: Dialect) -> list[Finding]:
    if dialect.header_line:
        return []
    found = Finding("header", False, "no line above the rows names their columns: they are counted")
    above = len(dialect.above)
    return [found, Finding("skip", above, "lines above the rows")] if above else [found]


def _find_decimal(dialect: Dialect, columns: Columns) -> Finding:
    marks = Counter(
        mark
        for place in columns.values
        for cell in dialect.column(place)
        if (mark := re.sub(r"[^.,]", "", cell)) in (".", ",") and re.fullmatch(r"[-+\d.,eE]+", cell)
    )
    if len(marks) > 1:
        told = ", ".join(f"{times} cells with '{mark}'" for mark, times in marks.items())
        return Finding("decimal", None, told, UNDECIDED)
    if not marks:
        return Finding("decimal", ".", "no fractions seen")
    ((mark, times),) = marks.items()
    return Finding("decimal", mark, f"{times:,} sampled cells")


def _seen_above(dialect: Dialect) -> list[str]:
    above = sum(bool(line.strip()) for line in dialect.above)
    header = [f"header in line {dialect.header_line}"] if dialect.header_line else []
    return header + ([f"{above} other lines stand above the rows"] if above else [])
