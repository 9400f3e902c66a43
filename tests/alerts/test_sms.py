"""An SMS is one part, whatever the names and however many the notices, and carries the cautions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.bounds import DateRange
from alerts.digest import Reader
from alerts.gsm import count_parts, count_septets
from alerts.notices import Neighbour, NeighbourSource, Notice, StationSource
from alerts.sms import compose_sms
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
ENGLISH = Reader("Grower", "en", "F", "Alder Bench Growers")
SPANISH = Reader("Grower", "es", "C", "Alder Bench Growers")
CAUTIONS = {
    "en": "Mind buried lines, heat, sharp tools, local rules.",
    "es": "Atencion: lineas enterradas, calor, filos, normas locales.",
}
READERS = [pytest.param(ENGLISH, id="en"), pytest.param(SPANISH, id="es")]

BORROWED = NeighbourSource((Neighbour("River Row", 3.2, 40.0, False),), 1.87)
KINDS = [
    make_notice,
    partial(make_notice, not_before=date(2025, 9, 28)),
    partial(make_notice, opened_range=DateRange(date(2025, 9, 21), date(2025, 10, 9))),
    partial(make_notice, carried=True, basis_cm=(10.0,)),
    partial(make_closed, "cold", what="corrected", carried=True, basis_cm=(10.16,)),
    partial(make_notice, estimated=True),
    partial(make_notice, what="opened again"),
    partial(make_notice, what="corrected"),
    *(partial(make_notice, **what) for what in (NOT_OPENED, NOT_KNOWN, NOT_KNOWN_OPEN)),
    *(partial(make_notice, **what) for what in (OPENING_SOON, SUMMED_UP)),
    partial(make_notice, what="closing soon"),
    partial(make_closed, "hot"),
    partial(make_closed, "cold"),
    partial(make_closed, "spent"),
    partial(make_closed, "hot", what="corrected"),
    partial(make_closed, "hot", what="corrected", sources=(BORROWED,)),
    partial(make_nowcast, "probably closed"),
    partial(make_notice, **{**NOT_OPENED, "what": "nowcast withdrawn"}),
]
NAMES = st.text(min_size=1, max_size=120)
NOTICES = st.builds(
    lambda make, block, site: make(block=block, site=site), st.sampled_from(KINDS), NAMES, NAMES
)


@pytest.mark.parametrize("reader", READERS)
@given(notices=st.lists(NOTICES, min_size=1, max_size=12))
def test_an_sms_is_one_part_and_ends_with_the_cautions(
    reader: Reader, notices: list[Notice]
) -> None:
    text = compose_sms(notices, reader, AS_OF)
    assert count_septets(text) <= 160
    assert count_parts(text) == 1
    assert text.endswith(CAUTIONS[reader.language])


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("make", KINDS)
@pytest.mark.parametrize("count", [1, 2, 100])
def test_long_names_of_two_septet_letters_are_one_part(
    count: int, make: Callable[..., Notice], reader: Reader
) -> None:
    notices = [make(block=f"[{'€' * 150}{i}", site="{" * 150) for i in range(count)]
    assert count_septets(compose_sms(notices, reader, AS_OF)) <= 160


@pytest.mark.parametrize(
    ("notices", "reader", "text"),
    [
        pytest.param(
            [make_notice()],
            ENGLISH,
            "Terrace 7 (Alder Bench): dig season is open. Opened on 4 Oct. Over by 15 Nov. ",
            id="open",
        ),
        pytest.param(
            [make_notice(site="Alder", mean_c=f_to_c(63.97))],
            ENGLISH,
            "Terrace 7 (Alder): dig season is open. Opened on 4 Oct. Over by 15 Nov. "
            "Root zone just under 64F. ",
            id="temperature beside its limit",
        ),
        pytest.param(
            [make_notice(not_before=date(2025, 9, 28))],
            ENGLISH,
            "Terrace 7 (Alder Bench): dig season is open. Opened between 28 Sept and 4 Oct. ",
            id="between",
        ),
        pytest.param(
            [make_closed("hot")],
            SPANISH,
            "Terrace 7 (Alder Bench): cerrada por ahora la temporada de revisar raices, suelo muy "
            "caliente. ",
            id="hot, spanish",
        ),
        pytest.param(
            [make_notice(**NOT_OPENED, mean_c=None)],
            ENGLISH,
            "Terrace 7 (Alder Bench): spring dig season did not open after all. ",
            id="did not open",
        ),
        pytest.param(
            [make_notice(**NOT_KNOWN)],
            ENGLISH,
            "Terrace 7 (Alder Bench): not known whether spring dig season has opened. "
            "Readings gone: look or wait. ",
            id="not known",
        ),
        pytest.param(
            [make_notice(**NOT_KNOWN_OPEN)],
            SPANISH,
            "Terrace 7 (Alder Bench): no se sabe si la temporada de primavera sigue abierta. "
            "Sin datos: mirar",
            id="not known whether open, spanish",
        ),
        pytest.param(
            [make_closed("spent", block="Low"), make_notice("Terrace 8"), make_notice()],
            ENGLISH,
            "Dig season: open in Terrace 7 (over by 15 Nov), Terrace 8 (over by 15 Nov); closed in "
            "Low. ",
            id="open before closed",
        ),
        pytest.param(
            [make_notice("North", site) for site in ("Alder", "Birch")],
            ENGLISH,
            "Dig season: open in North (Alder) (over by 15 Nov), North (Birch) (over by 15 Nov). ",
            id="sites where names repeat",
        ),
        pytest.param(
            [make_notice(f"Terrace {i}") for i in range(1, 21)],
            ENGLISH,
            "Dig season: open in Terrace 1, Terrace 2, Terrace 3, Terrace 4, Terrace 5, "
            "Terrace 6, Terrace 7; +13 more. ",
            id="more than fit",
        ),
    ],
)
def test_the_most_useful_stands_first(notices: Sequence[Notice], reader: Reader, text: str) -> None:
    assert compose_sms(notices, reader, AS_OF).startswith(text)


def test_a_long_name_is_shortened_before_the_dates_are_left_out() -> None:
    notice = make_notice("The long terrace at the far end of the valley", "Alder Bench Growers")
    assert compose_sms([notice], ENGLISH, AS_OF).startswith(
        "The long terrace a.. (Alder Bench Growers): dig season is open. Opened on 4 Oct. "
    )


def test_no_notices_are_no_sms() -> None:
    with pytest.raises(ValueError, match="no notices"):
        compose_sms([], ENGLISH, AS_OF)


def test_an_sms_names_the_station_where_there_is_room() -> None:
    station = StationSource("Low Bench", 12.3, 140.0)
    notice = make_notice("T7", "Alder", sources=(station,), ends_by=None, mean_c=None)
    reader = Reader("Ada Example", "en", "F", "Alder Bench Growers")
    text = compose_sms([notice], reader, date(2025, 10, 5))
    assert "From the station Low Bench, 12 km away, 140 m higher." in text
    assert count_parts(text) == 1


@pytest.mark.parametrize(
    ("reader", "says"),
    [
        pytest.param(ENGLISH, "Estimated from 10 cm.", id="en"),
        pytest.param(SPANISH, "Estimado desde 10 cm.", id="es"),
    ],
)
@pytest.mark.parametrize("name", ["Terrace 7", "W" * 60], ids=["short", "long"])
def test_that_a_temperature_is_estimated_is_the_last_thing_to_be_left_out(
    reader: Reader, says: str, name: str
) -> None:
    notice = make_closed("cold", carried=True, basis_cm=(10.0,), block=name, site=name)
    assert says in compose_sms([notice], reader, AS_OF)


def test_that_a_date_is_estimated_is_said() -> None:
    assert "Date estimated." in compose_sms([make_notice(estimated=True)], ENGLISH, AS_OF)


def test_among_several_blocks_the_estimated_ones_are_marked() -> None:
    notices = [make_notice("Terrace 7", carried=True), make_notice("Ledge")]
    found = compose_sms(notices, ENGLISH, AS_OF)
    assert "Terrace 7 (estimated)" in found
    assert "Ledge (estimated)" not in found
