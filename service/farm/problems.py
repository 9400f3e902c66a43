"""What is wrong with a farm file, in lines that name table, key, value and remedy."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from service.farm.logger_tables import CorrectionEntry, ProbeEntry
from service.farm.models import Forecast, ProbeUse
from service.farm.text import key_text, value_text
from service.farm.values import PLAIN_OR_TABLE

SHOWN_CHARACTERS = 60
CLOSE = 0.75  # of difflib's ratio: a slip of the pen, and no other word

PROBLEMS = {  # pydantic's error type -> what it means here
    "string_type": "must be text in quotes",
    "string_pattern_mismatch": "is not of the right form",
    "float_type": "must be a number",
    "finite_number": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "date_type": "must be a date without quotes",
    "datetime_type": "must be a date and a time without quotes",
    "tuple_type": "must be a list in square brackets",
    "too_long": "has too many items",
    "dict_type": "must be pairs in braces",
    "model_type": "must be pairs in braces",
    "greater_than": "must be more than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be at most {le:g}",
}


_NESTED: Mapping[int | str, type[BaseModel]] = {
    "clock_corrections": CorrectionEntry,
    "forecast": Forecast,
}


class FarmFileError(Exception):
    """A farm that cannot be taken; `lines` holds one line for each thing that is wrong."""

    def __init__(self, lines: Sequence[str]) -> None:
        super().__init__("\n".join(lines))
        self.lines = tuple(lines)


def describe_errors(
    label: str, kind: str, model: type[BaseModel], error: ValidationError
) -> list[str]:
    """Return a line for each error of one table."""
    return [f"{label}: {_describe(kind, model, detail)}" for detail in error.errors()]


def _describe(kind: str, model: type[BaseModel], detail: ErrorDetails) -> str:
    loc = tuple(part for part in detail["loc"] if part not in PLAIN_OR_TABLE)
    where = _where(loc)
    *_, last = loc
    if detail["type"] == "missing":
        return f"{where} is missing; {_remedy(kind, loc)}"
    if detail["input"] is not None:  # a key that is left out, where another asks for it
        where += f" = {_shortened(detail['input'])}"
    context = detail.get("ctx", {})
    if detail["type"] == "extra_forbidden":
        nested = _NESTED.get(loc[0], ProbeUse if kind == "block" else ProbeEntry)
        fields = (nested if len(loc) > 1 else model).model_fields
        keys = [field.alias or key for key, field in fields.items()]
        near = get_close_matches(str(last), keys, 1, CLOSE)
        hint = f"did you mean {near[0]}?" if near else f"the keys are {', '.join(keys)}"
        return f"{where}: no such key; {hint}"
    if detail["type"] == "value_error":
        return f"{where}: {context['error']}"
    if detail["type"] == "literal_error":
        return f"{where}: write " + context["expected"].replace("'", '"')
    return f"{where}: {PROBLEMS[detail['type']].format(**context)}; {_remedy(kind, loc)}"


def _where(loc: tuple[int | str, ...]) -> str:
    """Return where in a table: `columns.T1`, or `probes, item 2, depth_cm`."""
    text = str(loc[0])
    for before, part in pairwise(loc):
        if isinstance(part, int):
            text += f", item {part + 1}"
        else:
            text += f", {part}" if isinstance(before, int) else f".{key_text(part)}"
    return text


def _shortened(value: Any) -> str:
    text = value_text(value)
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[: SHOWN_CHARACTERS - 3]}..."


def _remedy(kind: str, loc: tuple[int | str, ...]) -> str:
    """Return the key as the example farm file writes it."""
    first, *_, last = loc * 2
    for key in (last, first):
        for value in _values_of(key, _example()[kind]):
            return f"write {key_text(str(key))} = {value_text(value)}"
    raise LookupError(f"example.toml shows no {first} in {kind}")


def _values_of(key: int | str, node: Any) -> Iterator[Any]:
    if isinstance(node, dict):
        if key in node:
            yield node[key]
        node = list(node.values())
    if isinstance(node, list):
        for inner in node:
            yield from _values_of(key, inner)


@cache
def _example() -> dict[str, Any]:
    text = files("service.farm").joinpath("example.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
