"""What was written of a dig, cell by cell: a record, or what to write instead."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from difflib import get_close_matches
from enum import StrEnum
from functools import partial
from typing import Any, Literal
from uuid import UUID, uuid5

from babel.lists import format_list

from alerts.dig.records import DigRecord, Insects, Roots, Specimen, Swellings
from alerts.figures import locale_of
from alerts.words import translations
from probes.hand_texts import HandTextError, parse_depth_cm

CELLS = (
    *("record_id", "block", "row", "vine", "dug_on", "person", "depth_cm"),
    *("roots", "dead_roots", "swellings", "insects", "specimen", "by_lot"),
    *("mark", "note", "latitude", "longitude"),
)
"""All that is written of a dig, in the order of a table's columns."""
NEEDED = ("block", "row", "vine", "dug_on", "person", "roots", "swellings", "insects")
MOST_VINES, DEEPEST_CM, EARLIEST = 20_000, 300, date(1950, 1, 1)

_LONGEST = {"person": 100, "mark": 100, "note": 300}
_YES, _NO = ("yes", "true", "1", "on"), ("no", "false", "0")
_LISTED = 8
_OURS = UUID("6f1d6c0e-5a57-4a43-9f0c-2b8f3c1d7e90")

Kind = Literal[
    "missing",
    "no block",
    "no whole number",
    "no number",
    "not within",
    "no date",
    "to come",
    "too long",
    "no word",
    "no id",
]


@dataclass(frozen=True)
class Fault:
    """What is wrong with a cell.

    known : what could be written instead; the least and the most, of "not within"
    """

    cell: str
    kind: Kind
    said: str = ""
    known: tuple[str, ...] = ()


class WrittenError(ValueError):
    """What was written is no record: what is wrong, cell by cell."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(refuse_cell(fault, "en") for fault in faults))
        self.faults = tuple(faults)


class _CellError(Exception):
    def __init__(self, kind: Kind, known: Collection[object] = ()) -> None:
        self.kind: Kind = kind
        self.known = tuple(map(str, known))


def read_written(cells: Mapping[str, str], block_ids: Collection[str], today: date) -> DigRecord:
    """Return what was written as a record.

    Without an id it gets one of its block, vine, day and person: the same written again is the
    same record.

    Parameters
    ----------
    cells : some of `CELLS`, as text; what is empty was not noted
    block_ids : of the blocks that may be written of
    today : where it is read; elsewhere it may be tomorrow already

    Raises
    ------
    WrittenError
        Where it is no record.
    """
    parsers: dict[str, Callable[[str], Any]] = {
        "record_id": _read_id,
        "block": partial(_read_block, block_ids),
        "row": _read_place,
        "vine": _read_place,
        "dug_on": partial(_read_day, today),
        "depth_cm": _read_depth,
        "roots": partial(_read_word, Roots),
        "dead_roots": _read_yes,
        "swellings": partial(_read_word, Swellings),
        "insects": partial(_read_word, Insects),
        "specimen": partial(_read_word, Specimen),
        "by_lot": _read_yes,
        "latitude": partial(_read_degrees, 90),
        "longitude": partial(_read_degrees, 180),
        **{name: partial(_read_text, most) for name, most in _LONGEST.items()},
    }
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    written = {name: " ".join(cells.get(name, "").split()) for name in CELLS}
    half_a_place = bool(written["latitude"]) != bool(written["longitude"])
    for name, said in written.items():
        try:
            if said:
                values[name] = parsers[name](said)
            elif name in NEEDED or (half_a_place and name in ("latitude", "longitude")):
                raise _CellError("missing")
        except _CellError as error:
            faults.append(Fault(name, error.kind, said, error.known))
    if faults:
        raise WrittenError(faults)
    block_id, vine = values.pop("block"), (values.pop("row"), values.pop("vine"))
    key = f"{block_id}|{vine}|{values['dug_on']}|{values['person'].casefold()}"
    record_id = values.pop("record_id", None) or str(uuid5(_OURS, key))
    return DigRecord(record_id=record_id, block_id=block_id, vine=vine, **values)


def write_cells(record: DigRecord) -> dict[str, str]:
    """Return a record as it is written: `read_written` gives the same again."""
    said = {name: getattr(record, name, None) for name in CELLS}
    said |= {"block": record.block_id, "row": record.vine[0], "vine": record.vine[1]}
    return {name: _write(value) for name, value in said.items()}


def _write(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def _read_block(known: Collection[str], said: str) -> str:
    if said not in known:
        near = get_close_matches(said, known, _LISTED, 0.5) or sorted(known)[:_LISTED]
        raise _CellError("no block", near)
    return said


def _read_place(said: str) -> int:
    try:
        number = int(said)
    except ValueError:
        raise _CellError("no whole number") from None
    return int(_check_within(number, 1, MOST_VINES))


def _read_day(today: date, said: str) -> date:
    try:
        day = date.fromisoformat(said)
    except ValueError:
        raise _CellError("no date") from None
    if day > today + timedelta(days=1):
        raise _CellError("to come")
    if day < EARLIEST:
        raise _CellError("no date")
    return day


def _read_depth(said: str) -> float:
    try:
        depth_cm = parse_depth_cm(said)
    except HandTextError:
        raise _CellError("no number") from None
    return _check_within(depth_cm, 0, DEEPEST_CM)


def _read_degrees(most: int, said: str) -> float:
    try:
        degrees = float(said.replace(",", "."))
    except ValueError:
        raise _CellError("no number") from None
    return _check_within(degrees, -most, most)


def _check_within(number: float, least: int, most: int) -> float:
    if not least <= number <= most:  # so is what is not a number
        raise _CellError("not within", (least, most))
    return number


def _read_word(words: type[StrEnum], said: str) -> StrEnum:
    try:
        return words(said.lower())
    except ValueError:
        raise _CellError("no word", [*words]) from None


def _read_yes(said: str) -> bool:
    if said.lower() not in (*_YES, *_NO):
        raise _CellError("no word", ("yes", "no"))
    return said.lower() in _YES


def _read_text(most: int, said: str) -> str:
    if len(said) > most or not said.isprintable():
        raise _CellError("too long", (most,))
    return said


def _read_id(said: str) -> str:
    try:
        return str(UUID(said))
    except ValueError:
        raise _CellError("no id") from None


def refuse_cell(fault: Fault, language: str, label: str = "") -> str:
    """Return why a cell, `label` to its reader, is not taken and what to write instead."""
    _ = translations(language).gettext
    match fault.kind:
        case "missing":
            text = _("{cell} is missing")
        case "no block":
            text = _("{cell}: there is no block '{said}'; write one of {known}")
            if not fault.known:
                text = _("{cell}: there is no block yet")
        case "no whole number":
            text = _("{cell}: '{said}' is no whole number; write it like 12")
        case "no number":
            text = _("{cell}: '{said}' is no number; write it like 12.5")
        case "not within":
            text = _("{cell}: '{said}' is not within {least} to {most}; look at it again")
        case "no date":
            text = _("{cell}: '{said}' is no date; write it like 2026-04-30")
        case "to come":
            text = _("{cell}: '{said}' is still to come; look at the day again")
        case "too long":
            text = _("{cell}: write at most {most} visible characters")
        case "no word":
            text = _("{cell}: '{said}' is none of {known}; write one of these")
        case "no id":
            text = _("{cell}: '{said}' is no UUID; leave it empty and one is made")
    return text.format(
        cell=label or fault.cell,
        said=fault.said[:60],
        known=format_list(fault.known, "or", locale_of(language)),
        least=fault.known[0] if fault.known else "",
        most=fault.known[-1] if fault.known else "",
    )
