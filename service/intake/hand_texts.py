"""Readings by hand that come as a short text, from a number that someone is told by."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from alerts.hand_words import HandReadingError, confirm, refuse
from probes.hand_texts import HandText, HandTextError, parse_hand_text
from service.intake.hand import Written, keep_hand_readings
from service.store.thermometers import Thermometer, fetch_thermometers_of_phone


class UnknownPhoneError(LookupError):
    """No one is told by that number: whoever wrote gets no answer."""


@dataclass(frozen=True)
class TextAnswer:
    """What to answer to a text, in the language of who sent it.

    import_id : of the batch that holds the reading; None: it was not taken
    """

    text: str
    import_id: int | None


def take_hand_text(connection: Connection, text: str, phone: str, now: datetime) -> TextAnswer:
    """Put the reading of a text into the store, or say what to write instead.

    The caller holds the write transaction.
    """
    people = fetch_thermometers_of_phone(connection, phone)
    if not people:
        raise UnknownPhoneError(f"no recipient has the phone {phone}; add it to the farm file")
    person, language, _ = people[0]
    near = {one.id: one for *_, thermometers in people for one in thermometers}
    try:
        said = parse_hand_text(text)
        thermometer = _choose(said.name, list(near.values()))
        temperature = f"{said.temperature:.10g}{said.unit or ''}"
        at = _find_time(said, thermometer, now)
        written = Written(at, said.depth_cm, temperature, person, text.strip())
    except HandTextError as error:
        return TextAnswer(refuse(HandReadingError(error.fault, error.part), language), None)
    except HandReadingError as refusal:
        return TextAnswer(refuse(refusal, language), None)
    report = keep_hand_readings(connection, thermometer, [written], "text", now)
    for _, refusal in report.refused:
        return TextAnswer(refuse(refusal, language), None)
    ((_, noted),) = report.noted
    return TextAnswer(" ".join(confirm(noted, language)), report.import_id)


def _choose(name: str, near: Sequence[Thermometer]) -> Thermometer:
    """Return the one thermometer that the words of a text name, or that there is."""
    names = [one.name for one in near]
    if not near:
        raise HandReadingError("no thermometer")
    words = set(name.split())
    named = [one for one in near if words <= _words(f"{one.id} {one.name} {one.site_name}")]
    if not named:
        raise HandReadingError("other words", name, names)
    if len(named) > 1:
        raise HandReadingError("which thermometer", known=[one.name for one in named])
    return named[0]


def _words(text: str) -> set[str]:
    letters = unicodedata.normalize("NFKD", text).casefold()
    plain = "".join(one for one in letters if not unicodedata.combining(one))
    return {*re.findall(r"\w+", plain), *plain.split()}


def _find_time(said: HandText, thermometer: Thermometer, now: datetime) -> str:
    """Return the time of a text by the clock of the place; now where it says none."""
    here = now.astimezone(ZoneInfo(thermometer.timezone))
    day = said.day or here.date() - timedelta(days=said.days_ago)
    if said.clock is not None:
        return f"{day} {said.clock:%H:%M}"
    if day != here.date():
        raise HandReadingError("which time")
    return here.replace(second=0, microsecond=0).isoformat()
