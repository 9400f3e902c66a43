"""A comparison as a folder to hand in: tables with their data dictionary, figures, a report."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any

from alerts.rules import WindowRule
from probes.units import Unit
from service.csv_cells import iterate_csv
from service.study.figures import FORMS, KINDS, convert, draw_figures
from service.study.report import Found, make_report, write_html
from service.study.windows import COLUMNS, DAY_COLUMNS, list_days

_TYPES = {"M": "date", "f": "number", "i": "integer", "u": "integer"}
"""Kinds of numpy by the types of Table Schema; all others are strings."""

ROWS = {
    "openings.csv": ("what became of each window", COLUMNS),
    "days.csv": ("the daily means that it rests on", DAY_COLUMNS),
}


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
    note : where the data are from, for the report; paragraphs with an empty line between

    The tables are CSV beside a datapackage.json (Frictionless Data Package 1, Table Schema 1) with
    types, units, meanings and checksums; each figure is there as SVG, PNG and PDF. Of the same
    store, settings and versions come the same bytes.
    """
    frame, days = found.frame, list_days(found.days)
    drawn_in = folder / "figures"
    drawn_in.mkdir(parents=True, exist_ok=True)
    digests = {
        name: _write_csv(folder / name, table)
        for name, table in (("openings.csv", frame), ("days.csv", days))
    }
    first, last = days["day"].min(), days["day"].max()
    made_by = {
        "Digseason": version("digseason"),
        **found.asked,
        "days": f"{first:%Y-%m-%d} to {last:%Y-%m-%d}",
        **{f"sha256 of {name}": digest for name, digest in digests.items()},
    }
    package = _describe({"openings.csv": frame, "days.csv": days}, digests, found.rules, made_by)
    (folder / "datapackage.json").write_text(json.dumps(package, indent=2) + "\n", "utf-8")
    svgs = draw_figures(found, days, unit)
    drawn = {
        drawn_in / f"{name}.{form}": (svg, form) for name, svg in svgs.items() for form in FORMS
    }
    for number, (path, (svg, form)) in enumerate(drawn.items()):
        path.write_bytes(convert(svg, form))
        progress((number + 1) / len(drawn))
    for path in drawn_in.iterdir():
        if path not in drawn and path.name.startswith(KINDS):
            path.unlink()
    report = make_report(found, note, svgs, made_by)
    (folder / "report.html").write_text(write_html(report), "utf-8")
    tables = (*digests, "datapackage.json", "report.html")
    return [*(folder / name for name in tables), *drawn]


def _write_csv(path: Path, table: Any) -> str:
    """Write a table; return the checksum of the file."""
    text = "".join(iterate_csv(table))
    path.write_text(text, "utf-8")
    return sha256(text.encode()).hexdigest()


def _describe(
    tables: Mapping[str, Any],
    digests: Mapping[str, str],
    rules: Sequence[WindowRule],
    made_by: Mapping[str, str],
) -> dict[str, Any]:
    return {
        "profile": "tabular-data-package",
        "name": "openings-compared",
        "title": "Openings of dig season compared",
        "description": "; ".join(f"{name}: {value}" for name, value in made_by.items()),
        "rules": [asdict(rule) for rule in rules],
        "resources": [
            {
                "profile": "tabular-data-resource",
                "name": name.removesuffix(".csv"),
                "path": name,
                "title": ROWS[name][0],
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "hash": f"sha256:{digests[name]}",
                "schema": {"fields": list(_list_fields(table, ROWS[name][1]))},
            }
            for name, table in tables.items()
        ],
    }


def _list_fields(table: Any, columns: Mapping[str, tuple[str, str]]) -> Any:
    for name, (unit, meaning) in columns.items():
        kind = table[name].dtype
        yield {
            "name": name,
            "type": _TYPES.get(getattr(kind, "kind", "O"), "string"),
            "description": meaning,
            **({"unit": unit} if unit else {}),
        }
