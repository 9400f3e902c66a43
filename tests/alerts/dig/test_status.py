"""How a block stands by its records: recomputed by hand."""

from __future__ import annotations

from datetime import date

import pytest

from alerts.dig.records import Insects, Specimen, Swellings
from alerts.dig.status import Search, Standing, find_status
from tests.digs import CONFIRMED, DEAD, dig, dig_by_lot

AS_OF = date(2026, 6, 1)


def test_two_seasons_by_lot_recomputed_by_hand() -> None:
    # source: [MARTIN-2007] P = pi / (pi + (1 - pi)(1 - SSe)); prior = 1 - [(1-P) + p - (1-P) p]
    # by hand: 10 vines of which 1 is infested (10 %); a dig shows it with 0.5; 4 dug in 2024:
    #   SSe = 4/10 * 0.5 = 0.2;           P = 0.5 / (0.5 + 0.5 * 0.8)        = 0.5/0.9    = 0.555556
    # the insect may come in with 0.1:    0.555556 * 0.9                     = 0.5
    # 2025, nobody looked:                                                     0.5
    #   and comes in again:               0.5 * 0.9                          = 0.45
    # 6 dug in 2026: SSe = 6/10 * 0.5 = 0.3; P = 0.45 / (0.45 + 0.55 * 0.7)  = 0.45/0.835 = 0.538922
    search = Search(prevalence=0.1, sensitivity=0.5, introduction=0.1)
    records = [*dig_by_lot(date(2024, 5, 6), 4), *dig_by_lot(date(2026, 5, 4), 6)]
    status = find_status(records, AS_OF, False, 10, search)
    assert status.standing is Standing.NOT_FOUND
    assert status.confidence == pytest.approx(0.538922, abs=5e-7)
    assert status.percent == 53
    assert status.by_lot == {2024: 4, 2026: 6}
    assert (status.since, status.last_dug) == (date(2024, 5, 6), date(2026, 5, 4))


def test_sixty_vines_of_a_very_large_block_recomputed_by_hand() -> None:
    # by hand, a very large block: SSe = 1 - (1 - 0.9 * 0.05)^60 = 0.936875
    # [MARTIN-2007]: 0.5 / (0.5 + 0.5 * (1 - 0.936875)) = 0.940623
    search = Search(prevalence=0.05, sensitivity=0.9)
    status = find_status(dig_by_lot(date(2026, 5, 4), 60), AS_OF, False, None, search)
    assert status.confidence == pytest.approx(0.940623, abs=2e-5)


def test_chosen_vines_give_no_confidence_and_add_none() -> None:
    chosen = [dig(date(2026, 5, 4), vine) for vine in range(100, 200)]
    alone = find_status(chosen, AS_OF, False, 1000)
    assert (alone.standing, alone.confidence, alone.chosen) == (Standing.NOT_FOUND, None, 100)
    by_lot = find_status(dig_by_lot(date(2026, 5, 4), 30), AS_OF, False, 1000)
    both = find_status([*chosen, *dig_by_lot(date(2026, 5, 4), 30)], AS_OF, False, 1000)
    assert both.confidence == by_lot.confidence


def test_a_vine_dug_twice_in_a_season_counts_once() -> None:
    twice = [*dig_by_lot(date(2026, 4, 20), 5), *dig_by_lot(date(2026, 5, 4), 5)]
    assert find_status(twice, AS_OF, False, 100).by_lot == {2026: 5}


def test_the_season_of_the_south_runs_over_the_year_s_end() -> None:
    records = [*dig_by_lot(date(2025, 10, 4), 5), *dig_by_lot(date(2026, 3, 4), 5, first=6)]
    assert find_status(records, AS_OF, True, 100).by_lot == {2025: 10}
    assert find_status(records, AS_OF, False, 100).by_lot == {2025: 5, 2026: 5}


def test_a_find_never_goes_away() -> None:
    found = dig(date(2000, 5, 1), **CONFIRMED)
    later = [*dig_by_lot(date(2025, 5, 1), 900), dig(date(2026, 5, 1), specimen=Specimen.ANOTHER)]
    status = find_status([found, *later], AS_OF, False, 1000)
    assert (status.standing, status.since) == (Standing.FOUND, date(2000, 5, 1))
    assert status.confidence is None


def test_a_suspicion_outlasts_digs_that_show_nothing() -> None:
    seen = dig(date(2025, 5, 1), swellings=Swellings.PALE)
    status = find_status([seen, dig(date(2026, 5, 1))], AS_OF, False)
    assert (status.standing, status.since) == (Standing.SUSPECTED, date(2025, 5, 1))
    assert status.vines == {(1, 1)}


@pytest.mark.parametrize(
    ("vine", "day", "standing"),
    [
        (1, date(2025, 5, 9), Standing.NOT_FOUND),
        (2, date(2025, 5, 9), Standing.SUSPECTED),
        (1, date(2025, 4, 9), Standing.SUSPECTED),
    ],
    ids=["same vine", "another vine", "before it"],
)
def test_another_insect_takes_away_the_suspicion_at_its_vine(
    vine: int, day: date, standing: Standing
) -> None:
    seen = dig(date(2025, 5, 1), insects=Insects.SOME)
    other = dig(day, vine, insects=Insects.SOME, specimen=Specimen.ANOTHER)
    assert find_status([seen, other], AS_OF, False).standing is standing


def test_no_live_roots_is_no_negative() -> None:
    dead = dig_by_lot(date(2026, 5, 1), 50, **DEAD)
    status = find_status(dead, AS_OF, False, 1000)
    assert (status.standing, status.confidence) == (Standing.NOT_LOOKED_AT, None)
    assert (status.no_live_roots, status.by_lot) == (50, {})
    assert status.last_dug == date(2026, 5, 1)


def test_what_comes_after_the_day_does_not_count() -> None:
    later = dig(date(2026, 6, 2), **CONFIRMED)
    assert find_status([later], AS_OF, False).standing is Standing.NOT_LOOKED_AT


def test_confidence_fades_where_nobody_looks_again() -> None:
    records = dig_by_lot(date(2022, 5, 4), 60)
    now = find_status(records, date(2022, 6, 1), False, 1000).confidence
    later = find_status(records, AS_OF, False, 1000).confidence
    assert now is not None
    assert later == pytest.approx(now * 0.95**4)  # source: [MARTIN-2007], four introductions


def test_more_vines_dug_than_the_farm_counts_still_have_a_confidence() -> None:
    status = find_status(
        dig_by_lot(date(2026, 5, 4), 60), AS_OF, False, 40, Search(sensitivity=1.0)
    )
    assert status.confidence == pytest.approx(1.0)
    assert status.percent == 99  # nothing is shown as wholly sure
