"""In which order crews go to blocks: recomputed by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.dig.hygiene import explain_cleaning, explain_order, name_cleaning, warn_of_cleaning
from alerts.dig.order import Cleaning, Stop, order_blocks, rank_status
from alerts.dig.status import USUAL, BlockStatus, Standing
from alerts.dig.status_words import name_standing, tell_confidence, tell_status
from alerts.words import LANGUAGES
from tests.laws import law

AS_OF = date(2026, 6, 1)
DUG = date(2026, 5, 4)


def stand(standing: Standing, confidence: float | None = None, chosen: int = 0) -> BlockStatus:
    is_dug = standing is not Standing.NOT_LOOKED_AT
    return BlockStatus(
        standing=standing,
        as_of=AS_OF,
        since=DUG if is_dug else None,
        last_dug=DUG if is_dug else None,
        confidence=confidence,
        by_lot={2026: 30} if confidence else {},
        chosen=chosen,
        no_live_roots=0,
        vines=frozenset(),
        search=USUAL,
    )


def stop(block_id: str, status: BlockStatus, site_id: str = "stillmarrow") -> Stop:
    return Stop(block_id, site_id, status)


def order(
    stops: Sequence[Stop], at_km: Sequence[float], start: float | None = 0.0, alike: int = 1
) -> list[str]:
    at = np.array(at_km)
    start_km = None if start is None else np.abs(at - start)
    visits = order_blocks(stops, np.abs(at[:, None] - at), start_km, alike)
    return [one.stop.block_id for one in visits]


def test_the_order_of_six_blocks_by_hand() -> None:
    # by hand, on a road with the start at km 0: not found 93 % (km 9) before 88 % (km 1); then not
    # found by chosen vines only (km 2); not looked at from there: km 4 is 2 km away, km 7 is 5;
    # then the suspected one, the found one last though it lies at the start
    stops = [
        stop("found", stand(Standing.FOUND)),
        stop("unseen-far", stand(Standing.NOT_LOOKED_AT)),
        stop("surest", stand(Standing.NOT_FOUND, 0.93)),
        stop("suspected", stand(Standing.SUSPECTED)),
        stop("less-sure", stand(Standing.NOT_FOUND, 0.88)),
        stop("chosen", stand(Standing.NOT_FOUND, None, 12)),
        stop("unseen-near", stand(Standing.NOT_LOOKED_AT)),
    ]
    assert order(stops, [0.1, 7, 9, 3, 1, 2, 4]) == [
        "surest",
        "less-sure",
        "chosen",
        "unseen-near",
        "unseen-far",
        "suspected",
        "found",
    ]


def test_confidences_that_are_alike_are_gone_to_by_distance() -> None:
    stops = [
        stop("far", stand(Standing.NOT_FOUND, 0.93)),
        stop("near", stand(Standing.NOT_FOUND, 0.91)),
        stop("least", stand(Standing.NOT_FOUND, 0.89)),
    ]
    assert order(stops, [9, 1, 0.5]) == ["far", "near", "least"]
    assert order(stops, [9, 1, 0.5], alike=5) == ["near", "far", "least"]


def test_without_a_start_the_way_begins_where_it_is_shortest() -> None:
    stops = [stop(name, stand(Standing.NOT_LOOKED_AT)) for name in ("b", "c", "a")]
    assert order(stops, [1, 2, 0], start=None) in (["a", "b", "c"], ["c", "b", "a"])


@law(40)
@given(
    st.lists(
        st.tuples(st.sampled_from(Standing), st.floats(0.01, 0.999), st.floats(0, 50, width=16)),
        max_size=9,
    )
)
def test_no_block_comes_before_one_of_a_better_rank_and_none_is_lost(
    blocks: list[tuple[Standing, float, float]],
) -> None:
    stops = [
        stop(str(number), stand(standing, sure if standing is Standing.NOT_FOUND else None))
        for number, (standing, sure, _) in enumerate(blocks)
    ]
    found = order(stops, [at for *_, at in blocks])
    ranks = [rank_status(stops[int(one)].status) for one in found]
    assert ranks == sorted(ranks)
    assert sorted(found) == sorted(one.block_id for one in stops)


@pytest.mark.parametrize(
    ("left", "site_id", "cleaning"),
    [
        (Standing.NOT_FOUND, "stillmarrow", Cleaning.SOIL_OFF),
        (Standing.NOT_FOUND, "dovetop", Cleaning.DISINFECT),
        (Standing.NOT_LOOKED_AT, "stillmarrow", Cleaning.DISINFECT),
        (Standing.SUSPECTED, "stillmarrow", Cleaning.DISINFECT),
    ],
)
def test_what_is_cleaned_between_two_blocks(
    left: Standing, site_id: str, cleaning: Cleaning
) -> None:
    stops = [stop("one", stand(left)), stop("two", stand(Standing.FOUND), site_id)]
    visits = order_blocks(stops, np.array([[0.0, 1.0], [1.0, 0.0]]))
    assert [one.cleaning for one in visits] == [Cleaning.FIRST, cleaning]
    assert [one.way_km for one in visits] == [None, 1.0]


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_word_of_it_calls_a_block_clean_or_without_risk(language: str) -> None:
    statuses = [
        stand(Standing.FOUND),
        stand(Standing.SUSPECTED),
        stand(Standing.NOT_FOUND, 0.9999),
        stand(Standing.NOT_FOUND, None, 3),
        stand(Standing.NOT_LOOKED_AT),
    ]
    told = [tell_status(one, language) for one in statuses]
    told += [tell_confidence(one, language) for one in statuses]
    told += [name_standing(one, language) for one in Standing]
    told += [explain_order(language)]
    text = " ".join(told).casefold()
    forbidden = ("clean", "safe", "low risk", "free of", "100 %", "limpi", "segur ", "libre")
    assert [one for one in forbidden if one in text] == []


def test_the_published_procedures_are_told_with_their_numbers() -> None:
    text = " ".join(explain_cleaning("en"))
    # source: [AGVIC-DISINFEST], [VINEHEALTH-FOOTWEAR]
    assert "60 seconds in 2 % active sodium hypochlorite and are not rinsed" in text
    assert "40 °C for 180 minutes, or 45 °C for 90 minutes" in text
    assert "where local rules differ, follow those" in text
    assert "follow the label" in " ".join(warn_of_cleaning("en"))
    assert name_cleaning(Cleaning.DISINFECT, "en") == "soil off, disinfect"


def test_a_status_is_told_with_its_dates_and_what_it_rests_on() -> None:
    assert tell_status(stand(Standing.NOT_FOUND, 0.948), "en") == (
        "Not found; last dug on 4 May. By 30 vines drawn by lot it is 94 % sure that fewer than "
        "5 % of the vines are infested."
    )
    assert tell_status(stand(Standing.SUSPECTED), "en").startswith("Suspected since 4 May,")
