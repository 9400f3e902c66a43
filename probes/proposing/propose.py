"""An unknown logger file -> a layout, tried on the whole file; what nothing decides stays open."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from probes.clock import IN_STAMP, parse_clock
from probes.layouts import Layout
from probes.logger_files import FileRefused, read_logger_file
from probes.proposing.columns import Columns, find_columns, find_unit_of
from probes.proposing.dialect import Dialect, find_dialect, why_no_header
from probes.proposing.missing import find_missing
from probes.proposing.proposal import UNDECIDED, YOURS, Finding, Proposal, Trial
from probes.proposing.samples import UNKNOWN, Samples, read_samples
from probes.proposing.time_forms import TimeForm, find_time_forms, is_decided, usual
from probes.spreadsheets import sheet_names
from probes.unpacking import find_packing

REJECTS_TOLD = 5
LOGGERS_TRIED = 20
_ORDER = (  # of the farm file's keys
    *("clock", "time", "time_format", "stamp", "interval_min", "unit", "depth", "value", "logger"),
    *("columns", "missing", "header", "skip", "delimiter", "decimal", "encoding", "sheet"),
)
_ASSUMED = {"clock": "UTC", "stamp": "end", "unit": "C"}


def propose_layout(path: Path, now: datetime) -> Proposal:
    """Return a layout for a file, with the evidence for each key and what reading by it gave.

    Parameters
    ----------
    path : Path
    now : datetime
        Bounds what numbers may be times, and what two-digit years mean.

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
        *_time_findings(dialect, forms),
        unit,
        *columns.findings,
        missing,
        *_header_findings(dialect),
        *_dialect_findings(samples, dialect, sheet),
        decimal,
    ]
    findings.sort(key=_place)
    remarks = [*_seen_above(dialect), *columns.remarks, *remarks]
    return Proposal(tuple(findings), tuple(remarks), _try(path, findings, dialect, columns, now))


def _place(finding: Finding) -> int:
    return _ORDER.index(finding.key)


def _time_findings(dialect: Dialect, forms: list[TimeForm]) -> list[Finding]:
    if not forms:
        why = "no column holds stamps of a known form"
        return [
            Finding("clock", None, "say what the logger shows", YOURS),
            Finding("time", None, why, UNDECIDED),
            Finding("time_format", None, why, UNDECIDED),
        ]
    form = forms[0]
    names = [dialect.names[place] for place in form.places]
    stamps = [
        " ".join(row[p].strip() for p in form.places) for piece in dialect.pieces for row in piece
    ]
    steps = form.steps_min()
    found = [
        Finding("time", names[0] if len(names) == 1 else names, f"such as '{stamps[0]}'"),
        _format_finding(forms, stamps),
        _stamp_finding(names),
    ]
    offsets = [re.search(r"(Z|[+-]\d\d:?\d\d)$", stamp) for stamp in stamps[:5]]
    if form.time_format == "iso8601" and any(offsets):
        found.append(Finding("clock", IN_STAMP, "each stamp states its own offset"))
    elif clock := _clock_in(names):
        found.append(Finding("clock", clock, f"header '{' '.join(names)}'"))
    else:
        hint = "no file says what its logger shows"
        if ((steps < 0) & (steps >= -60)).any():
            hint += "; rows step back by an hour or less: does it follow summer time?"
        found.append(Finding("clock", None, hint, YOURS))
    if not steps.size:
        found.append(Finding("interval_min", None, "one time only", UNDECIDED))
    else:
        interval_min = usual(np.abs(steps))
        share = float((np.abs(steps) == interval_min).mean())
        evidence = f"{share:.0%} of the sampled steps"
        certainty = "found" if 0 < interval_min <= 1440 else UNDECIDED
        found.append(Finding("interval_min", interval_min, evidence, certainty))
    return found


def _clock_in(names: list[str]) -> str | None:
    """Return the clock that the headers of the stamp name, such as "UTC-08:00" in "Time GMT-8"."""
    found = re.search(r"\b(?:UTC|GMT)\b ?(?:([+-])(\d\d?)(?::?(\d\d))?(?!\d))?", " ".join(names))
    if found is None:
        return None
    sign, hours, minutes = found.groups()
    return f"UTC{sign}{hours:0>2}:{minutes or '00'}" if sign else "UTC"


def _format_finding(forms: list[TimeForm], stamps: list[str]) -> Finding:
    form, *others = forms
    if "%" in form.time_format and not re.search("%[HI]", form.time_format):
        why = "the stamps have no time of day, and a mean of a day is no reading"
        return Finding("time_format", form.time_format, why, UNDECIDED)
    if not is_decided(forms):
        choice = ", ".join(f'"{other.time_format}"' for other in others)
        evidence = f"or {choice}: no day over 12, no steady steps, nothing in the file decides"
        return Finding("time_format", form.time_format, evidence, UNDECIDED)
    if others:
        evidence = (
            f'uneven steps: {form.odd_steps()}; by "{others[0].time_format}", '
            f"which also fits: {others[0].odd_steps()}"
        )
        return Finding("time_format", form.time_format, evidence)
    over_12 = _stamp_over_12(form.time_format, stamps)
    told = f"; '{over_12}' has a day over 12" if over_12 else ""
    return Finding("time_format", form.time_format, f"the only form that fits{told}")


def _stamp_over_12(time_format: str, stamps: list[str]) -> str | None:
    """Return a stamp whose day cannot be a month, where day and month stand as numbers."""
    marks = [mark for mark in re.findall("%(.)", time_format) if mark in "Yymdbj"]
    by_number = sorted(mark.lower() for mark in marks) == ["d", "m", "y"]
    if not by_number or marks[0] == "Y" or time_format.startswith(("%H", "%I")):
        return None
    place = marks.index("d")
    for stamp in stamps:
        numbers = re.findall(r"\d+", stamp)
        if len(numbers) > place and int(numbers[place]) > 12:
            return stamp
    return None


def _stamp_finding(names: list[str]) -> Finding:
    text = " ".join(names)
    for stamp, spelling in (("end", r"\bend|_end|ending"), ("start", r"start|\bfrom\b|begin")):
        if re.search(spelling, text, re.IGNORECASE):
            return Finding("stamp", stamp, f"header '{text}'")
    return Finding(
        "stamp", None, "no header says whether a stamp begins or ends its interval", YOURS
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


def _try(
    path: Path, findings: list[Finding], dialect: Dialect, columns: Columns, now: datetime
) -> Trial | None:
    """Read the whole file by what was found, and by the assumptions where that is open."""
    found: dict[str, Any] = {each.key: each.value for each in findings if each.value is not None}
    if not {"time", "time_format", "columns"} <= set(found):
        return None
    layout = trial_layout(found)
    ids = [None] if columns.logger is None else sorted(set(dialect.column(columns.logger)))
    trial = Trial()
    for logger_id in ids[:LOGGERS_TRIED]:
        try:
            file = read_logger_file(path, layout, logger_id=logger_id, latest_year=now.year + 1)
        except FileRefused as error:
            return Trial(refused=str(error).removeprefix(f"{path.name}: "))
        trial = Trial(
            kept=trial.kept + int(np.isfinite(file.soil_temp_c).sum()),
            missing=trial.missing + file.missing,
            rejected=trial.rejected + sum(reject.readings for reject in file.rejects),
            rejects=(*trial.rejects, *((each.line, each.reason) for each in file.rejects))[
                :REJECTS_TOLD
            ],
        )
    return trial


def trial_layout(found: Mapping[str, Any]) -> Layout:
    """Return the layout of some keys and values, what they leave open taken as for a trial."""
    values = {**_ASSUMED, **found}
    values["clock"] = parse_clock(values["clock"])
    time, missing = values["time"], values.get("missing", [""])
    values["time"] = (time,) if isinstance(time, str) else tuple(time)
    values["missing"] = (
        {column: tuple(codes) for column, codes in missing.items()}
        if isinstance(missing, dict)
        else tuple(missing)
    )
    return replace(UNKNOWN, **values)
