"""digseason digs plan, as a person and as a program read it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.commands import digseason, run

PLAN = ("digs", "plan", "--vines", "500", "--prevalence", "1%")


def test_a_program_reads_how_many_and_by_which_formula(tmp_path: Path) -> None:
    printed = digseason(tmp_path, *PLAN, "--sensitivity", "0.6", "--season", "2025", "--json")
    (one,) = json.loads(printed)
    # source: [RSURVEILLANCE] N 500, 1 %, sensitivity 0.6: 376
    assert one["dig_by_lot"] == 376
    assert one["infested"] == 5
    assert one["formula"] == "exact hypergeometric, imperfect sensitivity"
    assert one["most_confidence"] == pytest.approx(1 - 0.4**5)  # by hand: all dug
    assert one["confidence_now"] is None


def test_a_person_reads_what_was_dug_and_what_it_can_be_taken_for(tmp_path: Path) -> None:
    words = (*PLAN, "--dug", "2024:60", "--dug", "2025:20", "--targeted", "2025:10")
    printed = digseason(tmp_path, *words, "--season", "2025")
    flat = " ".join(printed.split())
    assert "60 in 2024, 20 in 2025" in flat
    assert "They never say that none is." in flat
    assert "Chosen vines without a find, not counted: 10 in 2025." in flat
    assert "ten empty holes are no answer" in flat
    assert max(map(len, printed.splitlines())) <= 80


def test_chosen_vines_change_no_number(tmp_path: Path) -> None:
    words = (*PLAN, "--dug", "2025:20", "--season", "2025", "--json")
    without = digseason(tmp_path, *words)
    assert digseason(tmp_path, *words, "--targeted", "2024:400") == without


def test_a_block_that_is_too_small_says_how_sure_it_can_get(tmp_path: Path) -> None:
    printed = digseason(tmp_path, "digs", "plan", "--vines", "40", "--prevalence", "2%")
    assert "2 %: 1 vine           80 %            cannot be    80 %" in printed


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (("--prevalence", "5"), "'5' is not above 0 and at most 100%"),
        (("--sensitivity", "nan"), "'nan' is not above 0"),
        (("--prevalence", "few"), "'few' is no share; write it as 5% or 0.05"),
        (("--dug", "2024"), "write it as 2024:30"),
        (("--dug", "2024:600"), "600 vines in 2024, but the block has 500"),
        (("--dug", "2026:6"), "2026 lies after the season of the plan, 2025"),
        (("--confidence", "100%"), "no dig is ever wholly sure"),
    ],
)
def test_what_cannot_be_planned_is_wrong_use_and_says_why(
    tmp_path: Path, words: tuple[str, ...], problem: str
) -> None:
    code, printed = run(tmp_path, *PLAN, "--season", "2025", *words)
    assert code == 2
    assert problem in " ".join(printed.split()).replace("│ ", "")
