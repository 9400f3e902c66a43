"""Vines drawn by lot: the same by the same seed, none likelier than another."""

from __future__ import annotations

from collections import Counter

import pytest
from scipy.stats import chisquare

from alerts.dig.lot import draw_vines

SIX = [(row, vine) for row in (1, 2, 3) for vine in (1, 2)]
BLOCK = [(row, vine) for row in range(1, 11) for vine in range(1, 13)]


def test_anyone_can_draw_the_same_from_the_seed() -> None:
    # source: GNU coreutils sha256sum of "7:1:1" and so on, sorted
    order = [(1, 1), (2, 2), (2, 1), (1, 2), (3, 1), (3, 2)]
    lot = draw_vines(SIX, 2, 7)
    assert (lot.drawn, lot.spare) == (tuple(sorted(order[:2])), tuple(order[2:5]))
    assert draw_vines(SIX[::-1], 2, 7) == lot


def test_no_vine_is_likelier_than_another() -> None:
    seeds = 1500
    drawn = Counter(vine for seed in range(seeds) for vine in draw_vines(BLOCK, 12, seed).drawn)
    # by hand: 1500 draws of 12 in 120; a chi-square this large comes once in a million by chance
    assert chisquare([drawn[vine] for vine in BLOCK]).pvalue > 1e-6
    # and a vine brings no other with it: two given ones in 12 * 11 / (120 * 119) of the draws
    both = sum({(1, 1), (1, 2)} <= set(draw_vines(BLOCK, 12, seed).drawn) for seed in range(seeds))
    assert both == pytest.approx(seeds * 12 * 11 / (120 * 119), abs=15)


def test_a_missing_vine_is_made_good_without_drawing_anew() -> None:
    lot = draw_vines(BLOCK, 12, 3)
    gone = lot.drawn[0]
    others = [one for one in BLOCK if one != gone]
    assert set(draw_vines(others, 12, 3).drawn) == {*lot.drawn[1:], lot.spare[0]}


def test_more_vines_than_there_are_cannot_be_drawn() -> None:
    with pytest.raises(ValueError, match="7 vines cannot be drawn from 6"):
        draw_vines(SIX, 7, 0)
    assert len(draw_vines(SIX, 6, 0).drawn) == 6
