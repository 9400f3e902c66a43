"""A digest says what changed, why, and what to do, in every language and for every reason."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.bounds import DateRange
from alerts.digest import Reader, compose_digest
from alerts.expectations import Expectation
from alerts.lines import COLUMNS
from alerts.notices import Notice, StationSource
from alerts.outlook.dates import Chances, Outlook
from alerts.rules import GRAPE_PHYLLOXERA
from alerts.windows import Kind, Reason
from alerts.words import LANGUAGES
from probes.units import f_to_c
from tests.notices import (
    NOT_KNOWN,
    NOT_KNOWN_OPEN,
    NOT_OPENED,
    OPENING_SOON,
    SUMMED_UP,
    make_closed,
    make_notice,
    make_nowcast,
)

AS_OF = date(2025, 10, 20)
GOLDENS = Path(__file__).parent / "digests"
READERS = {
    "en": Reader("Ana", "en", "F", "Alder Bench Growers"),
    "es": Reader("Ana", "es", "C", "Alder Bench Growers"),
}
# No text may call a vine or block free of risk, advise a pesticide, call a dig useless, or shout.
FORBIDDEN = {
    "en": r"clean|\bsafe|risk|useless|pesticid|insecticid|fumigat|!",
    "es": r"limpi|segur|riesgo|inútil|plaguicid|pesticid|insecticid|fumig|[!¡]|\busted",
}
CAUTIONS = {
    "en": ["Buried lines:", "irrigation and power", "Heat:", "Sharp tools:", "label", "rules:"],
    "es": ["Líneas enterradas", "riego y electricidad", "Calor:", "filo:", "etiqueta", "locales:"],
}
CARD = {
    "en": ["beside the trunk", "hand lens", "strong vines", "boots and tools", "weak evidence"],
    "es": ["junto al tronco", "lupa", "vides fuertes", "botas y herramientas", "prueba poco"],
}
NOTHING_ABOUT_A_VINE = {"en": "says nothing about a vine", "es": "no dice nada de ninguna vid"}
WHY: dict[tuple[str, Kind, Reason], str] = {
    ("en", "spring", "spent"): "has run its full length",
    ("en", "spring", "turned"): "passed its summer peak and is cooling, which ends spring",
    ("en", "spring", "cold"): "too cold. Dig season can open again when the soil warms",
    ("en", "spring", "hot"): "heat and dry soil make roots hard to read",
    ("en", "spring", "season over"): "a new year has begun",
    ("en", "fall", "cold"): "only small overwintering young",
    ("en", "fall", "hot"): "can open again when the soil cools",
    ("en", "fall", "season over"): "a new year has begun",
    ("es", "spring", "spent"): "ha cumplido su plazo",
    ("es", "spring", "turned"): "pone fin a la temporada de primavera",
    ("es", "spring", "cold"): "abrirse de nuevo al calentarse el suelo",
    ("es", "spring", "hot"): "cuesta interpretar las raíces",
    ("es", "spring", "season over"): "ha empezado uno nuevo",
    ("es", "fall", "cold"): "pequeñas formas jóvenes que pasan el invierno",
    ("es", "fall", "hot"): "abrirse de nuevo al enfriarse el suelo",
    ("es", "fall", "season over"): "ha empezado uno nuevo",
}
EVERY_NOTICE = [
    *(make_notice(kind=kind) for kind in ("spring", "fall")),
    *(make_notice(kind=kind, what="opened again") for kind in ("spring", "fall")),
    *(make_closed(reason, kind=kind) for _, kind, reason in WHY),
    make_notice(what="corrected", told_opened_on=date(2025, 9, 30)),
    make_closed("hot", what="corrected", told_opened_on=date(2025, 9, 30)),
    make_notice(what="corrected", told_closed_on=date(2025, 10, 10)),
    *(make_notice(**what) for what in (NOT_OPENED, NOT_KNOWN, NOT_KNOWN_OPEN)),
    make_notice(not_before=date(2025, 9, 20)),
    make_notice(mean_c=None, limit_c=None),
    *(make_nowcast(what) for what in ("probably open", "probably closed")),
    make_notice(**{**NOT_OPENED, "what": "nowcast withdrawn"}),
    make_notice(**OPENING_SOON),
    *(make_notice(kind=kind, what="closing soon") for kind in ("spring", "fall")),
    make_notice(**SUMMED_UP),
]


def one_line(text: str) -> str:
    return " ".join(text.split())


def tell(notices: Sequence[Notice] | Notice, language: str = "en") -> str:
    """Return the text of a digest without its line breaks."""
    notices = [notices] if isinstance(notices, Notice) else notices
    return one_line(compose_digest(notices, READERS[language], AS_OF).text)


MIXED = [
    make_notice("River 1", "Estero", not_before=date(2025, 9, 28)),
    make_closed("hot", block="River 2", site="Estero", mean_c=f_to_c(86.04)),
    make_closed("cold", block="River 10", site="Estero", kind="fall", mean_c=f_to_c(59.97)),
    make_notice(what="corrected", told_opened_on=date(2025, 9, 30)),
    make_notice("Terrace 8", basis_cm=(10.0,), **NOT_OPENED),
]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("name", "notices"), [("open", [make_notice()]), ("mixed", MIXED)])
def test_a_digest_reads_as_it_was_read_by_eye(
    name: str, notices: list[Notice], language: str
) -> None:
    digest = compose_digest(notices, READERS[language], AS_OF)
    golden = (GOLDENS / f"{name}_{language}.txt").read_text("utf-8")
    assert f"{digest.subject}\n\n{digest.text}" == golden


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("notice", EVERY_NOTICE)
def test_no_text_uses_a_forbidden_word(notice: Notice, language: str) -> None:
    digest = compose_digest([notice], READERS[language], AS_OF)
    assert re.findall(FORBIDDEN[language], digest.subject + digest.text, re.IGNORECASE) == []


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("notice", EVERY_NOTICE)
def test_every_digest_carries_the_cautions(notice: Notice, language: str) -> None:
    text = tell(notice, language)
    assert [words for words in CAUTIONS[language] if words not in text] == []


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("notice", EVERY_NOTICE)
def test_the_scouting_card_comes_where_a_block_is_or_may_be_open_and_only_then(
    notice: Notice, language: str
) -> None:
    text = tell(notice, language)
    is_open = notice.opened_on is not None and notice.closed_on is None and not notice.not_known
    may_be_open = is_open or notice.not_known
    assert [words in text for words in CARD[language]] == [may_be_open] * len(CARD[language])
    assert (NOTHING_ABOUT_A_VINE[language] in text) is not is_open


@pytest.mark.parametrize(("language", "kind", "reason"), WHY)
def test_a_closed_window_says_why(language: str, kind: Kind, reason: Reason) -> None:
    assert WHY[language, kind, reason] in tell(make_closed(reason, kind=kind), language)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_reason_has_its_words(language: str) -> None:
    assert {reason for told_in, _, reason in WHY if told_in == language} == set(get_args(Reason))


@pytest.mark.parametrize(
    ("notice", "subject"),
    [
        pytest.param(make_notice(), "dig season is open", id="opened"),
        pytest.param(make_notice(what="opened again"), "dig season is open again", id="again"),
        pytest.param(
            make_closed("hot"), "dig season is closed for now, the soil is too hot", id="hot"
        ),
        pytest.param(
            make_closed("cold"), "dig season is closed for now, the soil is too cold", id="cold"
        ),
        pytest.param(make_closed("cold", kind="fall"), "dig season is closed", id="fall cold"),
        pytest.param(make_closed("spent"), "dig season is closed", id="spent"),
        pytest.param(
            make_notice(what="corrected", told_opened_on=date(2025, 9, 30)),
            "dig season is open, its dates are corrected",
            id="moved",
        ),
        pytest.param(
            make_closed("spent", what="corrected", told_closed_on=date(2025, 10, 10)),
            "the dates of spring dig season are corrected",
            id="moved and closed",
        ),
        pytest.param(
            make_notice(**NOT_OPENED), "spring dig season did not open after all", id="not opened"
        ),
        pytest.param(
            make_notice(**NOT_KNOWN), "not known whether spring dig season has opened", id="unknown"
        ),
        pytest.param(
            make_notice(**NOT_KNOWN_OPEN),
            "not known whether spring dig season is still open",
            id="unknown since",
        ),
    ],
)
def test_the_subject_of_one_block_is_right_alone(notice: Notice, subject: str) -> None:
    digest = compose_digest([notice], READERS["en"], AS_OF)
    assert digest.subject == f"Terrace 7: {subject}"


@pytest.mark.parametrize(
    ("notices", "subject"),
    [
        pytest.param(
            [make_notice(), make_notice("Terrace 8")], "Dig season is open in 2 blocks", id="open"
        ),
        pytest.param(
            [make_closed("spent"), make_closed("spent", block="Terrace 8")],
            "Dig season: closed in 2 blocks",
            id="closed",
        ),
        pytest.param(
            MIXED,
            "Dig season: open in 1 block, open with corrected dates in 1, did not open after all "
            "in 1, closed for now in 1, closed in 1",
            id="mixed",
        ),
        pytest.param(
            [make_notice(**NOT_KNOWN), make_notice("Terrace 8")],
            "Dig season: open in 1 block, not known in 1",
            id="not known",
        ),
        pytest.param(
            [make_closed("hot"), make_notice(what="opened again", opened_on=date(2025, 10, 24))],
            "Terrace 7: dig season is open again",
            id="closed and open again",
        ),
    ],
)
def test_the_subject_of_several_notices_is_right_alone(notices: list[Notice], subject: str) -> None:
    assert compose_digest(notices, READERS["en"], AS_OF).subject == subject
    assert compose_digest(notices[::-1], READERS["en"], AS_OF).subject == subject


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("notice", EVERY_NOTICE)
def test_the_first_line_is_the_answer(notice: Notice, language: str) -> None:
    digest = compose_digest([notice], READERS[language], AS_OF)
    assert one_line(digest.text.partition("\n\n")[0]) == f"{digest.subject}."


@pytest.mark.parametrize(
    ("notice", "subject", "told"),
    [
        pytest.param(
            make_notice(**OPENING_SOON),
            "Terrace 7: dig season is likely to open soon",
            "Spring dig season is likely to open between 24 October and 2 November. Have buried "
            "lines located now: that can take days. The root zone (15-45 cm) was at 61.3 °F "
            "(spring dig season opens at 64 °F)",
            id="opening soon",
        ),
        pytest.param(
            make_notice(what="closing soon"),
            "Terrace 7: dig season closes soon",
            "Spring dig season is nearing its end. The root zone (15-45 cm) was at 64.6 °F (spring "
            "dig season opens at 64 °F): the five-day mean of 4 October, from probes at 15, 30 "
            "and 45 cm. Dig season will be over by 15 November at the latest",
            id="closing soon",
        ),
        pytest.param(
            make_notice(**SUMMED_UP),
            "Terrace 7: dig season is over for 2025-26",
            # by hand: 4 October to 14 November are 42 days; 18 in February and March, then 32
            "Spring dig season was open from 4 October to 14 November: 42 days. Fall dig season "
            "was open from 20 February to 20 April, with pauses: 50 days in all. The root "
            "zone was warmest on 20 January, at 78.2 °F (five-day mean). Plan to dig again "
            "next season: it can take two to five years before an infestation can be found.",
            id="a season",
        ),
    ],
)
def test_what_is_ahead_and_how_a_season_was(notice: Notice, subject: str, told: str) -> None:
    assert compose_digest([notice], READERS["en"], AS_OF).subject == subject
    assert told in tell(notice)


def test_what_the_outlook_says_again_is_said_once() -> None:
    chances = Chances(1.0, 0.0, 0.4, 0.9, date(2025, 10, 24), date(2025, 10, 27), date(2025, 11, 2))
    outlook = Outlook(2025, AS_OF, AS_OF, "spring", chances, chances, None)
    expected = {"Alder Bench/Terrace 7": Expectation(outlook, GRAPE_PHYLLOXERA, "Low Row")}
    soon = [make_notice(**OPENING_SOON)]
    text = one_line(compose_digest(soon, READERS["en"], AS_OF, expected=expected).text)
    assert text.count("likely to open between") == 1
    assert "rests on the yearly course of Low Row" in text


@pytest.mark.parametrize(
    ("ahead", "come"),
    [
        pytest.param(make_notice(**OPENING_SOON), make_notice(), id="open"),
        pytest.param(make_notice(what="closing soon"), make_closed("spent"), id="closed"),
    ],
)
def test_what_was_ahead_is_not_told_with_what_has_come(ahead: Notice, come: Notice) -> None:
    assert tell([ahead, come]) == tell(come)


def test_an_opening_in_a_gap_is_told_between_two_days_with_the_reason() -> None:
    notice = make_notice(opened_on=date(2025, 10, 18), not_before=date(2025, 10, 3))
    assert (
        "Spring dig season opened between 3 and 18 October. Readings are missing in between: it "
        "may have opened unseen before 18 October."
    ) in tell(notice)


def test_a_close_in_a_gap_is_told_between_two_days_with_the_reason() -> None:
    notice = make_closed("cold", closed_not_before=date(2025, 10, 11))
    assert (
        "Spring dig season closed between 11 and 20 October. Readings are missing in between: it "
        "may have closed unseen before 20 October."
    ) in tell(notice)


SEP_21, OCT_9 = date(2025, 9, 21), date(2025, 10, 9)


@pytest.mark.parametrize(
    ("notice", "told"),
    [
        pytest.param(
            make_notice(opened_range=DateRange(SEP_21, OCT_9)),
            "Spring dig season opened on 4 October, 16 days ago. The soil warms slowly compared "
            "with the error of its readings: the day lies between 21 September and 9 October.",
            id="a slow opening",
        ),
        pytest.param(
            make_notice(opened_range=DateRange(SEP_21, None)),
            "The soil warms slowly compared with the error of its readings: the day may be as "
            "early as 21 September, or still to come.",
            id="a slow opening on its day",
        ),
        pytest.param(
            make_closed(
                "cold",
                closed_not_before=date(2025, 10, 20),
                closed_range=DateRange(date(2025, 10, 12), date(2025, 10, 22)),
            ),
            "The soil cools slowly compared with the error of its readings: the day lies between "
            "12 and 22 October.",
            id="a slow close",
        ),
        pytest.param(
            make_notice(opened_range=DateRange(SEP_21, OCT_9), carried=True),
            "Its temperature is known only with a wide error: the day lies between 21 September "
            "and 9 October.",
            id="an opening by an estimate",
        ),
    ],
)
def test_a_wide_range_is_told_with_its_reason(notice: Notice, told: str) -> None:
    assert told in tell(notice)


def test_a_range_of_a_few_days_is_not_told() -> None:
    notice = make_notice(opened_range=DateRange(date(2025, 10, 3), date(2025, 10, 5)))
    assert tell(notice) == tell(make_notice())


@pytest.mark.parametrize(
    ("notice", "told"),
    [
        pytest.param(
            make_notice(what="corrected", told_opened_on=date(2025, 9, 30)),
            "Spring dig season opened on 4 October; the day you were told was 30 September.",
            id="opening moved",
        ),
        pytest.param(
            make_closed("hot", what="corrected", told_opened_on=date(2025, 10, 4),
                        told_closed_on=date(2025, 10, 12)),
            "Spring dig season opened on 4 October. Spring dig season closed on 20 October; the "
            "day you were told was 12 October.",
            id="close moved",
        ),
        pytest.param(
            make_notice(what="corrected", told_opened_on=date(2025, 10, 4),
                        told_closed_on=date(2025, 10, 12)),
            "Spring dig season is still open; the closing day you were told was 12 October.",
            id="not closed",
        ),
        pytest.param(
            make_notice(**NOT_OPENED, told_closed_on=date(2025, 10, 12)),
            "Spring dig season did not open after all; the day you were told was 4 October.",
            id="not opened",
        ),
    ],
)  # fmt: skip
def test_a_correction_says_what_was_told_and_what_holds(notice: Notice, told: str) -> None:
    text = tell(notice)
    assert told in text
    assert "Readings that came late, were corrected or were taken back have changed this." in text


@pytest.mark.parametrize(
    ("notice", "shown"),
    [
        pytest.param(
            make_notice(),
            "(15-45 cm) was at 64.6 °F (spring dig season opens at 64 °F): the five-day mean of "
            "4 October, from probes at 15, 30 and 45 cm. Dig season will be over by 15 November",
            id="spring",
        ),
        pytest.param(
            make_notice(kind="fall", limit_c=f_to_c(60.0), ends_by=None, basis_cm=(10.0,)),
            "was at 64.6 °F: the five-day mean of 4 October, from the probe at 10 cm. The soil has "
            "passed its summer peak and is cooling. Dig season lasts until the root zone cools "
            "below 60 °F or gets too hot.",
            id="fall",
        ),
        pytest.param(
            make_closed("cold", mean_c=f_to_c(59.97)),
            "just under 60 °F (too cold below 60 °F)",
            id="just too cold",
        ),
        pytest.param(
            make_closed("hot", mean_c=f_to_c(86.04)),
            "just over 86 °F (too hot above 86 °F)",
            id="just too hot",
        ),
        pytest.param(make_closed("spent"), "was at 70.2 °F: the five-day mean", id="no limit"),
    ],
)
def test_a_temperature_comes_with_its_limit_depths_and_day(notice: Notice, shown: str) -> None:
    assert shown in tell(notice)


@given(
    st.lists(
        st.builds(make_notice, st.text(min_size=1, max_size=200), st.text(min_size=1)),
        min_size=1,
        max_size=4,
    ),
    st.sampled_from(LANGUAGES),
)
def test_no_line_is_wider_than_72_columns_whatever_the_names(
    notices: list[Notice], language: str
) -> None:
    digest = compose_digest(notices, READERS[language], AS_OF)
    assert max(map(len, digest.text.splitlines())) <= COLUMNS
    assert "\n" not in digest.subject


@pytest.mark.parametrize(
    ("language", "sentence"),
    [
        (
            "en",
            "Measured at the station Low Bench, 12 km away, 140 m higher; the soil of the block "
            "may differ.",
        ),
        (
            "es",
            "Medido en la estación Low Bench, a 12 km, 140 m más arriba; el suelo de la parcela "
            "puede ser distinto.",
        ),
    ],
)
def test_a_station_elsewhere_is_named_with_its_distance(language: str, sentence: str) -> None:
    station = StationSource("Low Bench", 12.3, 140.0)
    assert sentence in tell(make_notice(sources=(station,)), language)


def test_without_a_station_nothing_is_said_of_one() -> None:
    assert "Measured at" not in tell(make_notice())


@pytest.mark.parametrize(
    ("language", "says"),
    [
        ("en", "estimated from 10 cm, as no probe lies deep enough."),
        ("es", "estimada desde 10 cm, porque ninguna sonda llega tan hondo."),
    ],
)
def test_a_root_zone_that_is_carried_says_from_where_it_is_estimated(
    language: str, says: str
) -> None:
    notice = make_notice(carried=True, basis_cm=(10.0,))
    assert says in one_line(compose_digest([notice], READERS[language], AS_OF).text)


@pytest.mark.parametrize(
    ("language", "says"),
    [
        ("en", "The date is estimated: not every probe has readings of the days behind it."),
        ("es", "La fecha es estimada: no todas las sondas tienen lecturas de los días"),
    ],
)
def test_a_date_behind_which_a_probe_was_bridged_says_that_it_is_estimated(
    language: str, says: str
) -> None:
    notice = make_notice(estimated=True)
    assert says in one_line(compose_digest([notice], READERS[language], AS_OF).text)
