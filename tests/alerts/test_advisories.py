"""Advisories: blocks counted by district and height, when one is due, and their words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest

from alerts.advisories.figures import (
    Advisory,
    BlockFacts,
    find_advisory,
    find_differences,
    is_due,
)
from alerts.advisories.letter import Note, compose_advisory, compose_draft
from alerts.advisories.sms import compose_advisory_sms, compose_draft_sms, holds_note
from alerts.digest import Reader
from alerts.gsm import count_parts, to_gsm7
from alerts.outlook.dates import Chances, Outlook
from alerts.states import State
from alerts.windows import Span
from probes.units import f_to_c

AS_OF = date(2026, 5, 8)
NAMES = {"flats": "The Flats", "tops": "The Tops"}
READER = Reader("Ada Example", "en", "F", "Alder Bench Growers")
NOTE = Note("Spades are at the office.\n\nMind the new gate.", "Petra Example", date(2026, 5, 9))
CLOSES = Chances(1.0, 0.0, 0.0, 0.0, date(2026, 6, 12), date(2026, 6, 14), date(2026, 6, 15))


def outlook(p10: date | None, p90: date | None, soon: float, opens: bool = True) -> Outlook:
    chances = Chances(0.9, 0.0, 0.0, soon, p10, p10, p90)
    return Outlook(2026, AS_OF, AS_OF, "spring", chances if opens else None, CLOSES, None)


def block(
    state: State,
    district: str | None = "flats",
    height_m: float | None = 210,
    *,
    opened: int | None = None,
    closed: int | None = None,
    to_come: Outlook | None = None,
    mean_f: float = 60.5,
) -> BlockFacts:
    spans: tuple[Span, ...] = ()
    if opened:
        on, until = date(2026, 5, opened), closed and date(2026, 5, closed)
        spans = (Span(2026, "spring", on, on, until or None, "cold" if until else None, None),)
    limit_c = f_to_c(64.0)
    return BlockFacts(district, height_m, state, spans, to_come, f_to_c(mean_f), limit_c)


OPEN_EARLY = block("open", opened=1, to_come=outlook(None, None, 0, opens=False), mean_f=66.2)
OPEN_LATE = block("open", height_m=250, opened=7, mean_f=64.5)
SOON = block("warming", height_m=320, to_come=outlook(date(2026, 5, 12), date(2026, 5, 20), 0.8))
COLD = block("too cold", "tops", 640, to_come=outlook(date(2026, 5, 30), None, 0.0), mean_f=51.0)
LOST = block("no recent readings", "tops", 690, mean_f=80.0)
REGION = [OPEN_EARLY, OPEN_LATE, SOON, COLD, LOST]
ADVISORY = find_advisory(REGION, NAMES, AS_OF)


def test_blocks_are_counted_by_district_and_by_height() -> None:
    flats, tops = ADVISORY.districts
    assert (flats.name, flats.group.open, flats.group.opening, flats.group.blocks) == (
        *("The Flats", 2, 1),
        3,
    )
    assert (tops.name, tops.group.open, tops.group.waiting, tops.group.not_known) == (
        *("The Tops", 0, 1),
        1,
    )
    # by hand: 210 and 250 m, 320 m, 640 and 690 m
    bands = [(band.from_m, band.to_m, band.group.blocks) for band in ADVISORY.bands]
    assert bands == [(200, 300, 2), (300, 400, 1), (600, 700, 2)]
    assert ADVISORY.region.blocks == 5


@pytest.mark.parametrize(
    ("state", "counted"),
    [
        ("resting", "resting"),
        ("too hot", "resting"),
        ("paused by cold", "resting"),
        ("spring start not seen", "resting"),
        ("done for the season", "over"),
        ("too cold", "waiting"),
        ("warming", "waiting"),  # no outlook says that it is soon
        ("no basis", "not_known"),
    ],
)
def test_each_state_is_counted_once(state: State, counted: str) -> None:
    group = find_advisory([block(state)], NAMES, AS_OF).region
    assert (getattr(group, counted), group.blocks) == (1, 1)


def test_heights_that_are_one_band_or_not_known_are_not_told() -> None:
    level = find_advisory([OPEN_EARLY, OPEN_LATE], NAMES, AS_OF)
    unknown = find_advisory([replace(one, elevation_m=None) for one in REGION], NAMES, AS_OF)
    assert (level.bands, unknown.bands) == ((), ())


def test_a_wide_region_has_few_bands() -> None:
    region = [block("open", height_m=40.0 * i, opened=1) for i in range(60)]
    # by hand: 0 to 2360 m by 500 m
    assert [band.from_m for band in find_advisory(region, NAMES, AS_OF).bands] == [
        *(0, 500, 1000),
        *(1500, 2000),
    ]


CLOSED_ONE = block("paused by cold", opened=1, closed=6)


# by hand: by district, the first open, the first closed, the last closed, and a week
@pytest.mark.parametrize(
    ("before", "now", "days", "expected"),
    [
        pytest.param(None, [COLD], 0, False, id="nothing is open yet"),
        pytest.param(None, [OPEN_EARLY, COLD], 0, True, id="the first opens"),
        pytest.param([COLD], [OPEN_EARLY, COLD], 6, False, id="too soon after the last"),
        pytest.param([COLD], [OPEN_EARLY, COLD], 7, True, id="a week after the last"),
        pytest.param([OPEN_EARLY, SOON], [OPEN_EARLY, OPEN_LATE], 9, False, id="one more opens"),
        pytest.param([OPEN_EARLY, OPEN_LATE], [CLOSED_ONE, OPEN_LATE], 9, True, id="one closes"),
        pytest.param([CLOSED_ONE, OPEN_LATE], [CLOSED_ONE, CLOSED_ONE], 9, True, id="all close"),
        pytest.param([CLOSED_ONE], [COLD], 9, False, id="a new year"),
        pytest.param(
            [OPEN_EARLY, COLD],
            [OPEN_EARLY, block("open", "tops", opened=8)],
            *(9, True),
            id="the first of another district",
        ),
    ],
)
def test_an_advisory_is_due_when_a_district_turns(
    before: Sequence[BlockFacts] | None,
    now: Sequence[BlockFacts],
    days: int,
    expected: bool,
) -> None:
    last = find_advisory(before, NAMES, AS_OF) if before else None
    today = find_advisory(now, NAMES, AS_OF + timedelta(days=days))
    assert is_due(last, today, 7) is expected


def test_what_has_changed_since_is_found_by_district() -> None:
    later = find_advisory([*REGION[:2], block("open", opened=8), *REGION[3:]], NAMES, AS_OF)
    ((before, after),) = find_differences(ADVISORY, later)
    assert before is not None
    assert (before.group.open, after.group.open) == (2, 3)
    assert find_differences(ADVISORY, ADVISORY) == []


def test_a_letter_says_it_in_words() -> None:
    letter = compose_advisory(ADVISORY, READER, NOTE, "Petra Example", {"tops"})
    assert letter.subject == "Dig season on 8 May: open in 2 of 5 blocks, opening soon in 1"
    note, tops, flats, heights, *_ = letter.parts
    assert (note.title, note.paragraphs) == (
        "From Petra Example, 9 May",
        ("Spades are at the office.", "Mind the new gate."),
    )
    assert (tops.title, flats.title) == ("The Tops", "The Flats")  # the reader's own first
    assert flats.paragraphs == (
        "3 blocks: 2 open, 1 opening soon. Root zone from 60.5 °F to 66.2 °F, as a mean of the "
        "last days.",
        "Spring dig season opened between 1 and 7 May where it is open. There it is likely to "
        "close between 12 and 15 June. Where it is not open, spring dig season is likely to open "
        "between 12 and 20 May.",
    )
    assert tops.paragraphs == (
        "2 blocks: 1 not open yet, 1 not known for lack of readings. Root zone 51.0 °F, as a mean "
        "of the last days.",
        "In 1 block spring dig season may not open at all.",
    )
    assert [entry.name for entry in heights.entries] == ["200-300 m", "300-400 m", "600-700 m"]
    assert "says nothing about a vine" in letter.text
    assert "Buried lines" in letter.text
    assert letter.source.endswith("Released by Petra Example.")


def test_a_mean_just_under_its_limit_does_not_seem_to_meet_it() -> None:
    under = find_advisory([block("warming", mean_f=63.98)], NAMES, AS_OF)
    assert "just under 64 °F" in compose_advisory(under, READER).text


def test_a_draft_says_that_nothing_goes_out_and_what_to_do() -> None:
    letter = compose_draft(ADVISORY, 3, READER, NOTE)
    assert letter.subject.startswith("Advisory 3 waits for review: open in 2 of 5 blocks")
    assert "Nothing of it goes to members before someone releases it." in letter.text
    assert "digseason advisory release 3" in letter.text
    text = compose_draft_sms(ADVISORY, 3, "es")
    assert count_parts(text) == 1


@pytest.mark.parametrize(
    ("language", "banned"),
    [("en", r"clean|\bsafe|risk|useless"), ("es", r"limpi[ao]|segur|riesgo|inútil")],
)
def test_no_advisory_calls_anything_clean_or_safe(language: str, banned: str) -> None:
    reader = replace(READER, language=language)
    over = find_advisory([block("done for the season"), CLOSED_ONE], NAMES, AS_OF)
    for one in (ADVISORY, over):
        parts = compose_advisory(one, reader).parts[:-1]  # the cautions have tools to clean
        told = " ".join(str(part) for part in parts) + compose_advisory_sms(one, reader)
        assert not re.search(banned, told, re.IGNORECASE)


LONG = "Upper Côteaux of the Long Brindlewater Valley {€[~]}"


def many(districts: int, blocks: int) -> Advisory:
    names = {f"d{i}": f"{i} {LONG}" for i in range(districts)}
    found = find_advisory([replace(SOON, district_id=name) for name in names], names, AS_OF)
    grown = tuple(
        replace(one, group=replace(one.group, open=blocks, opening=blocks))
        for one in found.districts
    )
    return replace(found, districts=grown)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("districts", [1, 2, 7, 300])
@pytest.mark.parametrize("note", [None, NOTE, replace(NOTE, text="x" * 500)])
def test_a_text_is_one_part_however_much_there_is(
    language: str, districts: int, note: Note | None
) -> None:
    reader = replace(READER, language=language, organisation=LONG)
    text = compose_advisory_sms(many(districts, 9999), reader, note, {"d0"})
    assert count_parts(text) == 1  # tests/alerts/test_gsm.py holds it to [3GPP-23.038]
    assert text == to_gsm7(text)
    assert "0 Upper" in text  # the reader's own district


def test_a_note_stands_in_a_text_where_it_fits() -> None:
    short = replace(NOTE, text="Ask for spades.")
    text = compose_advisory_sms(ADVISORY, READER, short)
    assert text == (
        "Alder Bench Growers, dig season 8 May: The Flats 2 of 3 open, 1 soon; The Tops 0 of 2 "
        "open. Ask for spades. Mind buried lines, heat, sharp tools, local rules."
    )
    assert holds_note(text, short)
    assert not holds_note(compose_advisory_sms(ADVISORY, READER, NOTE), NOTE)
