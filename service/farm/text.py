"""TOML as a person writes it, and the words that every message about a farm file shares."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

import tomli_w
from pydantic import BaseModel

LINE_WIDTH = 88
NAMED = ("checks", "rule", "layout")  # tables that bear their name in their title


def value_text(value: Any) -> str:
    """Return a value as TOML in one line: 15 for 15.0, "text", [15, 45], { T1 = 15 }."""
    if isinstance(value, BaseModel):
        value = value.model_dump(exclude_defaults=True, by_alias=True)
    if isinstance(value, Mapping):
        pairs = [f"{key_text(key)} = {value_text(inner)}" for key, inner in value.items()]
        return f"{{ {', '.join(pairs)} }}" if pairs else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(value_text(item) for item in value)}]"
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return tomli_w.dumps({"x": value})[len("x = ") : -1].replace("\t", "\\t")


def key_text(key: str) -> str:
    """Return a key as TOML, in quotes where it needs them."""
    return tomli_w.dumps({key: 0})[: -len(" = 0\n")]


def pair_text(key: str, value: Any) -> str:
    """Return `key = value`; a list too long for the line has an item on each."""
    text = f"{key_text(key)} = {value_text(value)}"
    if len(text) <= LINE_WIDTH or not isinstance(value, list | tuple):
        return text
    items = "".join(f"    {value_text(item)},\n" for item in value)
    return f"{key_text(key)} = [\n{items}]"


def table_title(kind: str) -> str:
    """Return how tables of a kind begin in a farm file: [[block]], [layout.NAME]."""
    if kind in NAMED:
        return f"[{kind}.NAME]"
    return "[organisation]" if kind == "organisation" else f"[[{kind}]]"


def table_label(kind: str, key: str) -> str:
    """Return how one table is called in messages: [[block]] "terrace-7", [layout.plain]."""
    if kind in NAMED:
        return f"[{kind}.{key_text(key)}]"
    return f"{table_title(kind)} {value_text(key)}" if key else table_title(kind)


def one_of(names: Iterable[str], wanted: str, at_most: int = 8) -> str:
    """Return what could be written instead: all the names, or the closest where they are many."""
    choice = sorted(names)
    if len(choice) > at_most:
        choice = get_close_matches(wanted, choice, at_most, cutoff=0)
    *others, last = [value_text(name) for name in choice]
    return f"{', '.join(others)} or {last}" if others else last
