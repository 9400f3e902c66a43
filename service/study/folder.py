"""A comparison as a folder to hand in: tables with their data dictionary, figures, a report."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from hashlib import sha256
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from typing import Any

from alerts.rules import WindowRule
from probes.units import Unit
from service.csv_cells import iterate_csv
from service.study.figures import FORMS, KINDS, convert, draw_figures
from service.study.report import Found, make_report, write_html
from service.study.windows import COLUMNS, DAY_COLUMNS, list_days

OPENINGS, DAYS, PACKAGE, REPORT = "openings.csv", "days.csv", "datapackage.json", "report.html"
ROWS = {
    OPENINGS: ("what became of each window", COLUMNS),
    DAYS: ("the daily means that it rests on", DAY_COLUMNS),
}

_LIBRARIES = "numpy", "pandas", "scipy", "altair", "vl-convert-python"
_TEXTS = {"site", "block", "rule", "kind", "outcome"}
_INTEGERS = {"mean_days", "season", "open_d", "stretches", "seen_d", "asked_d"}
_DATES = {"day", "after"} | {name for name in COLUMNS if name.startswith(("opened_", "closed_"))}
_DATES -= {"opened_day"}
_TYPES = (("string", _TEXTS), ("integer", _INTEGERS), ("date", _DATES))
"""Of Table Schema; all others are numbers."""


def write_study(
    folder: Path,
    found: Found,
    note: str,
    unit: Unit,
    progress: Callable[[float], None] = lambda _: None,
) -> list[Path]:
    """Write a comparison to a new or earlier folder; return its files.

    Figures that an earlier one had and this one has not are taken out; nothing else is.

    Parameters
    ----------
    found : with rows
    note : where the data are from; paragraphs with an empty line between

    The tables are CSV beside a datapackage.json (Frictionless Data Package 1, Table Schema 1) with
    types, units, meanings and checksums; each figure is there as SVG, PNG and PDF. Of the same
    store, settings and versions come the same bytes.
    """
    days = list_days(found.days)
    drawn_in = folder / "figures"
    drawn_in.mkdir(parents=True, exist_ok=True)
    first, last = days["day"].min(), days["day"].max()
    made_by = {**found.asked, "days": f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"}
    tables = {OPENINGS: iterate_csv(found.frame), DAYS: iterate_csv(days)}
    package = _write_tables(folder, tables, found.rules, made_by, note)
    figures = draw_figures(found, days, unit)
    drawn = {drawn_in / f"{one.name}.{form}": (one.svg, form) for one in figures for form in FORMS}
    for number, (path, (svg, form)) in enumerate(drawn.items()):
        path.write_bytes(convert(svg, form))
        progress((number + 1) / len(drawn))
    for path in drawn_in.iterdir():
        if path not in drawn and path.name.startswith(KINDS):
            path.unlink()
    report = make_report(found, note, figures, package["made_by"])
    (folder / REPORT).write_text(write_html(report), "utf-8")
    return [*(folder / name for name in (*tables, PACKAGE, REPORT)), *drawn]


def write_openings(
    folder: Path,
    texts: Iterable[str],
    rules: Sequence[WindowRule],
    asked: Mapping[str, str],
    note: str,
    left_out: Sequence[str],
) -> list[Path]:
    """Write the openings of an archive to a folder as `write_study` does, while they come; return
    its files, none where there are no openings.

    texts : rows as CSV
    left_out : why sites are not among them, a line each; all are there once the rows are
    """
    rows = filter(None, texts)
    first = next(rows, None)
    if first is None:
        return []
    folder.mkdir(parents=True, exist_ok=True)
    table = chain([",".join(COLUMNS) + "\n", first], rows)
    _write_tables(folder, {OPENINGS: table}, rules, asked, note, left_out)
    return [folder / OPENINGS, folder / PACKAGE]


def _write_tables(
    folder: Path,
    tables: Mapping[str, Iterable[str]],
    rules: Sequence[WindowRule],
    asked: Mapping[str, str],
    note: str,
    left_out: Sequence[str] = (),
) -> dict[str, Any]:
    """Write tables and what describes them; return the latter."""
    digests = {name: _write_csv(folder / name, texts) for name, texts in tables.items()}
    made_by = {
        "Digseason": version("digseason"),
        "with": ", ".join(f"{name} {version(name)}" for name in _LIBRARIES),
        **asked,
        **({"left out": "; ".join(one.partition(":")[0] for one in left_out)} if left_out else {}),
        **{f"sha256 of {name}": digest for name, digest in digests.items()},
    }
    package = {
        "profile": "tabular-data-package",
        "name": "openings-compared",
        "title": "Openings of dig season compared",
        **({"description": note.strip()} if note.strip() else {}),
        "made_by": made_by,
        "rules": [asdict(rule) for rule in rules],
        "resources": [_describe(name, digest) for name, digest in digests.items()],
    }
    (folder / PACKAGE).write_text(json.dumps(package, indent=2, ensure_ascii=False) + "\n", "utf-8")
    return package


def _write_csv(path: Path, texts: Iterable[str]) -> str:
    """Write a table once all of it is there; return the checksum of the file."""
    digest, new = sha256(), path.with_name(f".{path.name}.new")
    try:
        with new.open("wb") as file:
            for text in texts:
                file.write(text.encode())
                digest.update(text.encode())
        new.replace(path)
    finally:
        new.unlink(missing_ok=True)
    return digest.hexdigest()


def _describe(name: str, digest: str) -> dict[str, Any]:
    title, columns = ROWS[name]
    return {
        "profile": "tabular-data-resource",
        "name": name.removesuffix(".csv"),
        "path": name,
        "title": title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "hash": f"sha256:{digest}",
        "schema": {
            "fields": [
                {
                    "name": column,
                    "type": next((kind for kind, names in _TYPES if column in names), "number"),
                    "description": meaning,
                    **({"unit": unit} if unit else {}),
                }
                for column, (unit, meaning) in columns.items()
            ]
        },
    }
