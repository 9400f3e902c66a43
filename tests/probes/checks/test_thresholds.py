"""Thresholds as a farm file sets them, and how far the checks look."""

from __future__ import annotations

from datetime import timedelta

import pytest

from probes.checks import Thresholds, reach, read_thresholds


def test_what_is_not_set_keeps_its_default() -> None:
    read = read_thresholds({"spike": {"suspect_c": 5}, "gross_range": {"user_c": [-10, 40]}})
    assert (read.spike.suspect_c, read.spike.fail_c, read.gross_range.user_c, read.flat_line) == (
        *(5, 10.0, (-10, 40)),
        Thresholds().flat_line,
    )


@pytest.mark.parametrize(
    ("spec", "complaint"),
    [
        ({"spikes": {}}, "'spikes' is no check; the checks are gross_range, power_on, spike"),
        ({"spike": {"low": 1}}, "spike has no threshold 'low'; it has suspect_c, fail_c"),
        ({"spike": {"suspect_c": True}}, "spike.suspect_c = True is no number"),
        ({"spike": {"suspect_c": "3"}}, "spike.suspect_c = '3' is no number"),
        ({"spike": {"suspect_c": float("nan")}}, "spike.suspect_c = nan is no number"),
        ({"spike": {"suspect_c": -1}}, "spike.suspect_c = -1; write 0 or more"),
        ({"spike": {"suspect_c": 11}}, "spike.suspect_c = 11 is more than spike.fail_c = 10"),
        ({"spike": {"later": 1}}, "spike.later = 1; write true or false"),
        ({"spike": {"damping_cm": 0}}, "spike.damping_cm = 0; write more than 0"),
        (
            {"neighbours": {"days": 1.5}},
            "neighbours.days = 1.5; write a whole number of at least 1",
        ),
        ({"gross_range": {"user_c": [1]}}, r"gross_range.user_c = \[1\] is no pair"),
        ({"gross_range": {"user_c": [-1, 99]}}, "must lie inside sensor span"),
    ],
)
def test_what_cannot_be_is_refused_with_what_to_write(spec, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        read_thresholds(spec)


@pytest.mark.parametrize(
    ("tests", "before"),
    [
        # by hand, with the 6 h of power-on; flat at 30 cm: 72 h x 7, and 6 h
        (["gross_range"], timedelta(0)),
        (["spike"], timedelta(hours=12)),
        (["rate_of_change"], timedelta(hours=24)),
        (["flat_line"], timedelta(hours=72 * 7 + 12)),
        (["neighbours"], timedelta(hours=96 + 1 + 6 + 6 + 6)),
    ],
)
def test_a_flag_looks_back_as_far_as_its_tests(tests: list[str], before: timedelta) -> None:
    assert reach(Thresholds(), 30.0, tests).before == before


def test_only_a_later_check_looks_ahead() -> None:
    later = read_thresholds({"spike": {"later": True}})
    ahead = [
        reach(Thresholds(), 30.0),
        reach(later, 30.0, ["neighbours"]),
        reach(later, 30.0, ["flat_line"]),
    ]
    assert [look.after for look in ahead] == [timedelta(0), timedelta(hours=3), timedelta(0)]
