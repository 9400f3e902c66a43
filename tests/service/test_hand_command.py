"""digseason hand: by its options, by a file of notes, by a text."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sqlalchemy import Engine

from tests.commands import run
from tests.thermometers import BY_HAND, set_up_thermometer

pytestmark = pytest.mark.sqlite_by_day

PHONE = "+14155550101"


@pytest.fixture
def hand(engine: Engine, store_url: str, tmp_path: Path):
    set_up_thermometer(engine)

    def digseason(*words: str) -> tuple[int, str]:
        return run(tmp_path, "hand", *words, database_url=store_url)

    return digseason


@pytest.mark.both_by_day
def test_a_reading_is_noted_with_what_it_makes_of_the_day(hand) -> None:
    words = ("--depth", "12in", "--temp", "61.5F", "--at", "2025-10-02 08:30", "--by", "Ada")
    code, printed = hand("--thermometer", "h1", *words)
    assert code == 0
    assert "Noted: 61.5 °F at 30 cm, 2 Oct 2025, 08:30, Terrace thermometer." in printed
    assert "taken to be 61.5 °F, give or take 1.2 °F." in " ".join(printed.split())
    assert "digseason imports withdraw 1" in printed
    assert max(map(len, printed.splitlines())) <= 80
    (one,) = json.loads(hand("--list", "--json")[1])
    assert (one["said"], one["person"], one["observed_at"]) == (
        *("61.5F", "Ada"),
        "2025-10-02T15:30:00Z",
    )


def test_a_reading_that_the_checks_find_wrong_is_answered_so(hand) -> None:
    day = ("--thermometer", "h1", "--depth", "30", "--at")
    hand(*day, "2025-10-02 08:30", "--temp", "61.5F")
    printed = " ".join(hand(*day, "2025-10-02 08:40", "--temp", "99F")[1].split())
    assert "Noted: 99.0 °F" in printed
    assert "It looks wrong and does not count until someone says that it is right." in printed
    assert "The mean of that day is taken to be 61.5 °F" in printed


@pytest.mark.parametrize(
    ("words", "code", "what"),
    [
        (("--thermometer", "h1", "--temp", "61.5F", "--at", "2025-10-02 8:30"), 1, "is no time"),
        (("--thermometer", "h1", "--temp", "61.5C", "--at", "2025-10-02 08:30"), 1, "61.5F?"),
        (("--thermometer", "h9", "--temp", "61F", "--at", "2025-10-02 08:30"), 2, "of these: h1"),
        (("--thermometer", "h1", "--temp", "61F"), 2, "--at"),
        (("--temp", "61F"), 2, "give --thermometer"),
        (("--text", "61F"), 2, "give --from"),
        (("--text", "61F", "--from", "+14155550199"), 2, "no recipient has the phone"),
    ],
)
def test_wrong_use_and_a_reading_that_cannot_be_say_what_to_write(hand, words, code, what) -> None:
    found, printed = hand(*words)
    assert (found, what in printed) == (code, True), printed


@pytest.mark.both_by_day
def test_a_file_of_notes_is_read_and_its_good_lines_count(hand, tmp_path: Path) -> None:
    notes = tmp_path / "notes.csv"
    notes.write_text(
        "at,depth,temp,by,note\n2025-10-02 08:30,30,61.5,Ada,\n2025-10-05 08:30,,9x,,\n"
        "2025-10-06 08:30,deep,61,,\n"
    )
    code, printed = hand("--thermometer", "h1", "--notes", str(notes))
    assert code == 1
    assert "1. Noted: 61.5 °F" in printed
    assert "2. Not taken. 9x is no temperature." in printed
    assert "3. Not taken. 'deep' is no depth; write 30, 30cm or 12in." in printed


@pytest.mark.parametrize("first", ["when,temp", "temp", "at,temp,wind"])
def test_a_file_of_another_form_is_refused(hand, tmp_path: Path, first: str) -> None:
    notes = tmp_path / "notes.csv"
    notes.write_text(f"{first}\n1,2,3\n")
    code, printed = hand("--thermometer", "h1", "--notes", str(notes))
    assert (code, "at,depth,temp,by,note" in printed) == (2, True)


def test_a_text_is_answered_in_the_language_of_who_sent_it(engine: Engine, hand) -> None:
    set_up_thermometer(engine, BY_HAND.replace('"mail", "sms"]', '"mail", "sms"]\nlanguage = "es"'))
    code, printed = hand("--text", "suelo 30 cm 61,5F ayer a las 8:30 terrace", "--from", PHONE)
    assert (code, printed.startswith("Anotado: 61,5 °F a 30 cm")) == (0, True)
    code, printed = hand("--text", "hola", "--from", PHONE)
    assert (code, printed) == (
        1,
        "Falta la temperatura. Escribirla con su unidad, así: 61.5F o 16.4C.\n",
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("61.5F yesterday", "At what time was that?"),
        ("61.5F yesterday 8:30 lower field", "lower field is the name of no thermometer"),
        ("15cm 61.5F yesterday 8:30", "not read at 15 cm. Write one of these: 30 cm."),
        ("61.5F 8.30", "8 30 is the name of no thermometer of yours."),
    ],
)
def test_a_text_that_leaves_something_open_is_answered_with_what_to_write(hand, text, what) -> None:
    code, printed = hand("--text", text, "--from", PHONE)
    assert (code, what in " ".join(printed.split())) == (1, True), printed
