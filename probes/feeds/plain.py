"""JSON at an address, read as its layout says: a record is a row, its keys are the columns."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from probes.feeds.contract import FeedAnswerError
from probes.layouts import Layout

WHOLE_ANSWER = "."


def to_delimited(answer: Any, path: str, layout: Layout) -> tuple[bytes, Layout]:
    """Return the records of an answer as a delimited file, and its layout.

    Parameters
    ----------
    answer : what the JSON holds
    path : str
        Where in it the records are: keys joined by dots, or "." for all of it. Either a list of
        records, or lists of one length by key.
    layout : Layout
        Its columns are keys of a record, those of a record within it joined by dots.

    Raises
    ------
    FeedAnswerError
        When there are no records at that path.
    """
    rows = [dict(_flatten(record)) for record in _find_records(answer, path)]
    columns = list(dict.fromkeys(key for row in rows for key in row)) or list(layout.headers)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_to_cell(row.get(column)) for column in columns] for row in rows)
    as_written = replace(
        layout, delimiter=",", decimal=".", encoding="utf-8", skip=None, sheet=None
    )
    return text.getvalue().encode("utf-8", "replace"), as_written


def _find_records(answer: Any, path: str) -> list[Any]:
    found = answer
    for key in path.split(".") if path != WHOLE_ANSWER else ():
        if not isinstance(found, dict) or key not in found:
            there = ", ".join(list(found)[:8]) if isinstance(found, dict) else json.dumps(found)
            raise FeedAnswerError(f"nothing at records = \"{path}\": no '{key}' in {there[:200]}")
        found = found[key]
    if isinstance(found, dict) and found and all(isinstance(one, list) for one in found.values()):
        if len({len(one) for one in found.values()}) > 1:
            raise FeedAnswerError(f'the lists at records = "{path}" are not of one length')
        found = [
            dict(zip(found, values, strict=True)) for values in zip(*found.values(), strict=True)
        ]
    if not isinstance(found, list) or not all(isinstance(record, dict) for record in found):
        raise FeedAnswerError(
            f'no list of records at records = "{path}" but {json.dumps(found)[:200]}'
        )
    return found


def _flatten(record: dict[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in record.items():
        if isinstance(value, dict):
            yield from _flatten(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _to_cell(value: Any) -> str:
    if value is None:
        return ""
    text = value if isinstance(value, str) else json.dumps(value)
    return " ".join(text.replace("\0", " ").splitlines())
