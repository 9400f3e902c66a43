"""Read a farm file: each table by its own model, then what they say of each other."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from service.farm.models import TABLES, Farm
from service.farm.problems import CLOSE, FarmFileError, describe_errors
from service.farm.references import find_contradictions
from service.farm.text import NAMED, key_text, pair_text, table_label, table_title
from service.farm.values import check_id


def read_farm_file(path: Path) -> Farm:
    """Return the farm that a file describes; FarmFileError lists all that is wrong with it."""
    content = path.read_bytes()
    try:
        text = content.decode("utf-8-sig")  # some editors write a byte order mark
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FarmFileError([f"line {line}: not UTF-8; save the file as UTF-8"]) from None
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FarmFileError([_describe_syntax(text, str(error))]) from None
    except RecursionError:
        said = "lists or tables stand within each other too deep to be read; close each with a ]"
        raise FarmFileError([said]) from None
    return farm_from_tables(raw)


def _describe_syntax(text: str, message: str) -> str:
    found = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", message)
    if found is None:
        return f"last line: {message}; something opened above is not closed"
    problem, line, column = found.groups()
    written = text.split("\n")[int(line) - 1].strip()
    return (
        f"line {line}, column {column}: {written}: {problem}; "
        "texts stand in quotes, lists in square brackets, a key once in its table"
    )


def farm_from_tables(raw: Mapping[str, Any]) -> Farm:
    """Return the farm of a parsed farm file; FarmFileError lists all that is wrong with it."""
    misshapen = {kind: shape for kind in TABLES if (shape := _describe_shape(kind, raw.get(kind)))}
    problems = [_describe_unknown(kind, raw[kind]) for kind in raw if kind not in TABLES]
    problems += misshapen.values()
    tables: dict[str, dict[str, Any]] = {kind: {} for kind in TABLES}
    broken: dict[str, set[str]] = {kind: set() for kind in TABLES}
    for kind, model in TABLES.items():
        for key, label, entry in [] if kind in misshapen else _entries(kind, raw.get(kind)):
            if key in tables[kind]:
                problems.append(f"{label}: stands twice; give each its own {_key_field(kind)}")
            try:
                if kind in NAMED:
                    check_id(key)
                tables[kind][key] = model.model_validate(entry)
            except ValidationError as error:
                problems += describe_errors(label, kind, model, error)
                broken[kind].add(key)
            except ValueError as error:
                problems.append(f"{label}: {error}")
        broken[kind].discard("")  # a table that does not say its key
    organisation = tables.pop("organisation").get("")
    farm = Farm(organisation, **tables)
    if not misshapen:
        problems += find_contradictions(farm, broken)
    if problems:
        raise FarmFileError(problems)
    return farm


def _entries(kind: str, content: Any) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Give the key, the label and the content of each table of one kind."""
    if kind == "organisation":
        yield "", table_label(kind, ""), content or {}
    elif kind in NAMED:
        for name, entry in (content or {}).items():
            yield name, table_label(kind, name), entry
    else:
        for number, entry in enumerate(content or [], start=1):
            key = entry.get(_key_field(kind))
            if isinstance(key, str):
                yield key, table_label(kind, key), entry
            else:
                yield "", f"{table_title(kind)} no. {number}", entry


def _key_field(kind: str) -> str:
    return "name" if kind == "recipient" else "id"


def _describe_shape(kind: str, content: Any) -> str | None:
    """Return what is wrong where the tables of a kind are no tables."""
    if content is None:
        return "[organisation] is missing; add it, with a name" if kind == "organisation" else None
    if kind == "organisation":
        entries = [content]
    elif kind in NAMED:
        entries = content.values() if isinstance(content, dict) else [content]
    else:
        entries = content if isinstance(content, list) else [None]
    if all(isinstance(entry, dict) for entry in entries):
        return None
    return f"{kind}: not written as a table; write it below {table_title(kind)}"


def _describe_unknown(kind: str, content: Any) -> str:
    """Return that the farm file has no such table, or no such key before its first table."""
    known = [table_title(name) for name in TABLES]
    near = get_close_matches(kind, TABLES, 1, CLOSE)
    hint = f"did you mean {table_title(near[0])}?" if near else f"the tables are {', '.join(known)}"
    if isinstance(content, dict):
        return f"[{key_text(kind)}]: no such table; {hint}"
    if isinstance(content, list) and all(isinstance(entry, dict) for entry in content):
        return f"[[{key_text(kind)}]]: no such table; {hint}"
    return f"{pair_text(kind, content)}: stands in no table; move it below the one it belongs to"
