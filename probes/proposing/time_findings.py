"""Columns, form, meaning and interval of the stamps of an unknown file, each with its evidence."""

from __future__ import annotations

import re

import numpy as np

from probes.proposing.dialect import Dialect
from probes.proposing.proposal import UNDECIDED, YOURS, Finding
from probes.proposing.time_forms import TimeForm, is_decided, usual


def find_times(dialect: Dialect, forms: list[TimeForm]) -> list[Finding]:
    """Return which columns make the stamp, how it is written, what it means and how often it comes.

    Parameters
    ----------
    dialect : Dialect
    forms : list of TimeForm
        The ways in which the stamps can be read, the steadiest first.
    """
    if not forms:
        why = "no column holds stamps of a known form"
        return [
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
    if not steps.size:
        found.append(Finding("interval_min", None, "one time only", UNDECIDED))
    else:
        interval_min = usual(np.abs(steps))
        share = float((np.abs(steps) == interval_min).mean())
        evidence = f"{share:.0%} of the sampled steps"
        certainty = "found" if 0 < interval_min <= 1440 else UNDECIDED
        found.append(Finding("interval_min", interval_min, evidence, certainty))
    return found


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
