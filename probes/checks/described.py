"""Every threshold in force with its meaning and where it comes from.

Both stand once, where the threshold has its default: in the docstring of its class.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Any

from probes.checks.thresholds import Thresholds

OURS = "ours"
KEY = re.compile(r"\[[A-Z]+-[A-Z0-9]+\]")
WORDS = ("common practice, no source", "from memory", OURS)


@dataclass(frozen=True)
class Described:
    """One threshold.

    name : as in a farm file, "spike.suspect_c"
    is_default : whether the value is the default
    source : "ours", "from memory" or "common practice, no source"; keys of tests/SOURCES.md
    """

    name: str
    value: Any
    is_default: bool
    meaning: str
    source: str


def describe_thresholds(thresholds: Thresholds) -> Iterator[Described]:
    """Yield each threshold, test by test."""
    defaults = Thresholds()
    for test in fields(thresholds):
        limits = getattr(thresholds, test.name)
        head, meanings = _read_docstring(type(limits))
        for limit in fields(limits):
            value = getattr(limits, limit.name)
            yield Described(
                name=f"{test.name}.{limit.name}",
                value=value,
                is_default=value == getattr(getattr(defaults, test.name), limit.name),
                meaning=meanings[limit.name],
                source=_find_source(meanings[limit.name]) or _find_source(head) or OURS,
            )


def _read_docstring(of: type) -> tuple[str, dict[str, str]]:
    """Return the first words of a docstring, and what it says of each field."""
    head, *entries = re.split(r"^(\w+(?:, \w+)*) : ", inspect.getdoc(of) or "", flags=re.MULTILINE)
    meanings = {}
    for names, text in zip(entries[::2], entries[1::2], strict=True):
        for name in names.split(", "):
            meanings[name] = " ".join(text.split())
    return head, meanings


def _find_source(text: str) -> str:
    found = [words for words in WORDS if words in text][:1]
    return "; ".join([*found, *KEY.findall(text)])
