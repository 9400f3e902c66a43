"""A silence says since when, what rests on it and what to do; a return, what is missing."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.digest import compose_digest
from alerts.gsm import count_parts
from alerts.lines import COLUMNS
from alerts.silence_news import SilenceNotice, order_silences
from alerts.silence_sentences import tell_silence
from alerts.silence_sms import compose_silence_sms
from alerts.sms import compose_sms
from alerts.words import LANGUAGES
from tests.alerts.test_digest import FORBIDDEN, READERS, one_line
from tests.notices import make_closed, make_notice
from tests.silences import (
    EVERY_SILENCE,
    make_due,
    make_failing,
    make_return,
    make_silence,
)

AS_OF = date(2025, 10, 20)
GOLDENS = Path(__file__).parent / "digests"
CAUTIONS = "Mind buried lines, heat, sharp tools, local rules."
ONE_OF_EACH = [make_return(), make_due(), make_silence(depth_cm=30.0), make_failing()]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("name", "notices"), [("silences", []), ("open_and_silences", [make_notice()])]
)
def test_a_digest_with_silences_reads_as_it_was_read_by_eye(name, notices, language: str) -> None:
    silences = EVERY_SILENCE if not notices else ONE_OF_EACH
    digest = compose_digest(notices, READERS[language], AS_OF, silences)
    golden = (GOLDENS / f"{name}_{language}.txt").read_text("utf-8")
    assert f"{digest.subject}\n\n{digest.text}" == golden


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("silence", EVERY_SILENCE)
def test_no_text_uses_a_forbidden_word(silence: SilenceNotice, language: str) -> None:
    digest = compose_digest([], READERS[language], AS_OF, [silence])
    assert re.findall(FORBIDDEN[language], digest.subject + digest.text, re.IGNORECASE) == []


@pytest.mark.parametrize("silence", EVERY_SILENCE)
def test_the_subject_of_one_silence_is_the_first_line(silence: SilenceNotice) -> None:
    digest = compose_digest([], READERS["en"], AS_OF, [silence])
    assert one_line(digest.text.partition("\n\n")[0]) == f"{digest.subject}."


@pytest.mark.parametrize(
    ("silences", "subject"),
    [
        ([make_silence()], "Logger R-1: no readings since 4 Oct"),
        ([make_silence(depth_cm=7.5)], "Logger R-1 at 7.5 cm: no readings since 4 Oct"),
        ([make_failing()], "Station low-bench: no readings since 4 Oct"),
        ([make_due()], "Logger R-2: a download is due"),
        ([make_return()], "Logger R-1: readings are back"),
        (ONE_OF_EACH, "Readings: 2 stopped, 1 download due, 1 back"),
        ([make_due(), make_due()], "Readings: 2 downloads due"),
    ],
)
def test_a_subject_is_right_alone(silences: list[SilenceNotice], subject: str) -> None:
    assert compose_digest([], READERS["en"], AS_OF, silences).subject == subject


def test_the_news_of_blocks_come_first_and_keep_their_subject() -> None:
    digest = compose_digest([make_notice()], READERS["en"], AS_OF, [make_silence()])
    assert digest.subject == "Terrace 7: dig season is open"
    places = [
        digest.text.index(words)
        for words in ("Terrace 7\n", "Loggers and stations", "What to do now", "Before you dig")
    ]
    assert places == sorted(places)


def test_without_news_of_blocks_there_are_no_cautions_of_digging() -> None:
    text = compose_digest([], READERS["en"], AS_OF, [make_silence()]).text
    assert "Before you dig" not in text
    assert "buried lines located before you dig for a probe" in one_line(text)


def test_what_stopped_stands_before_what_is_due_and_what_is_back() -> None:
    back, due, probe, station = ONE_OF_EACH
    logger = make_silence(logger_id="R-10")
    ordered = order_silences([back, due, probe, station, logger])
    assert ordered == [station, probe, logger, due, back]


def test_who_only_borrows_is_sent_to_no_battery() -> None:
    lent = make_silence(block_names=(), borrower_names=("Brow",))
    told = tell_silence(lent, "en", AS_OF)
    assert told.startswith("No readings since 4 October. Borrowed from it: Brow. Until readings")
    assert "battery" not in told
    sms = compose_silence_sms([lent], "en", AS_OF)
    assert sms == "Logger R-1 (Estero): no readings since 4 Oct. Borrowed from it: Brow."


def test_more_than_six_blocks_are_counted() -> None:
    names = tuple(f"Row {i}" for i in range(1, 10))
    told = tell_silence(make_silence(block_names=names), "en", AS_OF)
    assert "unseen in Row 1, Row 2, Row 3, Row 4, Row 5, Row 6 and 3 more." in told


def test_what_a_server_says_brings_no_line_break_and_has_an_end() -> None:
    told = tell_silence(make_failing(failure=f"says\r\nBcc: all {'x' * 500}"), "en", AS_OF)
    assert "says Bcc: all xxx" in told
    assert "x" * 200 not in told


@given(st.text(min_size=1, max_size=200), st.text(min_size=1), st.sampled_from(LANGUAGES))
def test_no_line_is_wider_than_72_columns_whatever_the_names(
    name: str, block: str, language: str
) -> None:
    silences = [make_failing(site_name=name, block_names=(block,), failure=name)]
    digest = compose_digest([], READERS[language], AS_OF, silences)
    assert max(map(len, digest.text.splitlines())) <= COLUMNS
    assert "\n" not in digest.subject


@pytest.mark.parametrize(
    ("silences", "text"),
    [
        pytest.param(
            [make_silence()],
            "Logger R-1 (Estero): no readings since 4 Oct. Look at battery, cables, SIM card. "
            "Unseen meanwhile: River 1, River 2.",
            id="logger",
        ),
        pytest.param(
            [make_silence(depth_cm=30.0, unusable=True)],
            "Logger R-1 at 30 cm (Estero): no usable readings since 4 Oct. Look at its plug and "
            "cable. Unseen meanwhile: River 1, River 2.",
            id="probe",
        ),
        pytest.param(
            [make_due()],
            "Logger R-2 (Estero): a download is due. Last reading 4 Oct. Unseen meanwhile: "
            "River 1, River 2.",
            id="due",
        ),
        pytest.param([make_return()], "Logger R-1 (Estero): readings are back.", id="back"),
        pytest.param(
            ONE_OF_EACH,
            "Readings: stopped at low-bench, R-1 30 cm; download due at R-2; back at R-1.",
            id="one of each",
        ),
        pytest.param(
            [make_silence(logger_id=f"logger-{i}") for i in range(1, 31)],
            "Readings: stopped at logger-1, logger-2, logger-3, logger-4, logger-5, logger-6, "
            "logger-7, logger-8, logger-9, logger-10, logger-11, logger-12; +18 more.",
            id="more than fit",
        ),
    ],
)
def test_an_sms_of_silences(silences: list[SilenceNotice], text: str) -> None:
    assert compose_sms([], READERS["en"], AS_OF, silences) == text


@pytest.mark.parametrize(
    ("notices", "text"),
    [
        pytest.param(
            [make_notice()],
            "Terrace 7 (Alder Bench): dig season is open. Opened on 4 Oct. Readings: 2 stopped, "
            f"1 download due, 1 back. {CAUTIONS}",
            id="one block",
        ),
        pytest.param(
            [make_notice(), make_closed("hot", block="Low")],
            "Dig season: open in Terrace 7; closed for now in Low. Readings: 2 stopped, "
            f"1 download due, 1 back. {CAUTIONS}",
            id="two blocks",
        ),
    ],
)
def test_an_sms_mentions_silences_after_the_news_of_blocks(notices, text: str) -> None:
    assert compose_sms(notices, READERS["en"], AS_OF, ONE_OF_EACH) == text


@pytest.mark.parametrize("language", LANGUAGES)
@given(
    st.lists(
        st.builds(
            lambda one, block, site: make_silence(
                **{**vars(one), "site_name": site, "block_names": (block,)}
            ),
            st.sampled_from(EVERY_SILENCE),
            st.text(min_size=1, max_size=120),
            st.text(min_size=1, max_size=120),
        ),
        min_size=1,
        max_size=40,
    ),
    st.booleans(),
)
def test_an_sms_with_silences_is_one_part(
    language: str, silences: list[SilenceNotice], with_news: bool
) -> None:
    notices = [make_closed("hot", block="€" * 60, site="{" * 60)] if with_news else []
    assert count_parts(compose_sms(notices, READERS[language], AS_OF, silences)) == 1
