"""What earlier digs still say."""

from __future__ import annotations

import pytest

from alerts.dig.freedom import find_vines_after, follow_confidence, update_chance
from alerts.dig.sampling import Design, find_chance, find_vines_to_dig

DESIGN = Design(1000, 0.05, 0.8)


def test_a_season_without_a_find_lifts_the_chance_as_published() -> None:
    # source: [MARTIN-2007] P = pi / (pi + (1 - pi)(1 - SSe)); by hand: 0.5 / (0.5 + 0.5 * 0.1)
    assert update_chance(0.5, 0.9) == pytest.approx(0.909091, abs=5e-7)


def test_the_chance_of_coming_in_between_is_taken_off_as_published() -> None:
    # source: [MARTIN-2007] prior = 1 - [(1 - P) + p - (1 - P) p]
    at_start, after = follow_confidence(DESIGN, {2024: 60}, 2025, 0.1)
    posterior = 0.5 / (0.5 + 0.5 * (1 - find_chance(DESIGN, 60)))
    assert at_start == pytest.approx(1 - ((1 - posterior) + 0.1 - (1 - posterior) * 0.1))
    assert after == at_start  # nothing dug in 2025


def test_seasons_in_which_nobody_looked_fade_it_year_by_year() -> None:
    one, _ = follow_confidence(DESIGN, {2020: 60}, 2021, 0.1)
    four, _ = follow_confidence(DESIGN, {2020: 60}, 2024, 0.1)
    assert four == pytest.approx(one * 0.9**3)


def test_later_digs_do_not_count_before_their_season() -> None:
    assert follow_confidence(DESIGN, {2026: 300}, 2025, 0.1) == (0.5, 0.5)


def test_what_is_still_to_be_dug_is_the_least_that_reaches_what_is_wanted() -> None:
    at_start, _ = follow_confidence(DESIGN, {2024: 40}, 2025, 0.05)
    vines = find_vines_after(DESIGN, 0.95, at_start)
    assert vines is not None
    reached = [update_chance(at_start, find_chance(DESIGN, n)) for n in (vines - 1, vines)]
    assert reached[0] < 0.95 <= reached[1]
    alone = find_vines_to_dig(DESIGN, 0.95)
    assert alone is not None
    assert vines < alone


def test_nothing_is_left_to_dig_where_it_is_sure_enough() -> None:
    assert find_vines_after(DESIGN, 0.9, 0.93) == 0


def test_a_block_that_is_too_small_stays_so() -> None:
    assert find_vines_after(Design(40, 0.02, 0.5), 0.95, 0.5) is None
