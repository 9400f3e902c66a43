"""Which flags a change of readings touches, and what must be read to decide them again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np

from probes.checks import TESTS, Span, Thresholds, find_passes, find_within, merge_spans

HOUR = np.timedelta64(1, "h")


def at(text: str) -> np.datetime64:
    return np.datetime64(text, "us")


def hours(spans: Sequence[Span]) -> int:
    return round(sum((end - start) / HOUR for start, end in spans))


def test_a_push_sees_a_month_and_the_same_weeks_of_each_earlier_year() -> None:
    now = at("2025-10-02T10:00")
    near, far = find_passes((now - HOUR, now), (at("2000-01-01"), now), Thresholds(), 30.0)
    # by hand: a flat line fails at 30 cm after 72 h x 7 and may have a gap of 6 h at each end
    assert hours(near.sees) == 1 + 72 * 7 + 6 + 6
    # by hand: 31 days of ten years, and 12 h before each in which a spike may begin; ten hours
    # of today and as many before
    assert hours(far.sees) == 10 * (31 * 24 + 12) + 10 + 12
    assert set(near.tests) | set(far.tests) == set(TESTS)


def test_a_late_reading_touches_the_same_weeks_of_the_years_since() -> None:
    changed = at("2023-10-02T09:00"), at("2023-10-02T10:00")
    near, far = find_passes(changed, (at("2020-01-01"), at("2026-01-01")), Thresholds(), 30.0)
    assert near.targets == ((changed[0], changed[1] + (72 * 7 + 12) * HOUR),)
    # by hand: its own day, then 15 days either way of 1 October 2024, 365 days later, and of
    # 1 October 2025, 730 days later
    days = [tuple(np.datetime_as_string(end, "D") for end in span) for span in far.targets]
    assert days == [
        ("2023-10-01", "2023-10-02"),
        ("2024-09-15", "2024-10-16"),
        ("2025-09-15", "2025-10-16"),
    ]


def test_all_at_once_is_one_pass() -> None:
    extent = at("2020-01-01"), at("2026-01-01")
    (one,) = find_passes(extent, extent, Thresholds(), 30.0)
    assert (one.tests, one.targets, one.sees) == (TESTS, (extent,), (extent,))


def test_range_only_looks_at_nothing_else_and_clears_what_was_found() -> None:
    changed = at("2023-10-02"), at("2023-10-03")
    (one,) = find_passes(
        changed, (at("2020-01-01"), at("2026-01-01")), Thresholds(), 30.0, ("gross_range",)
    )
    assert (one.tests, one.targets, one.sees) == (TESTS, (changed,), (changed,))


def test_a_span_holds_its_end_and_not_its_start() -> None:
    spans = merge_spans(
        [(at("2025-03-01"), at("2025-03-02")), (at("2025-01-01"), at("2025-01-02"))]
    )
    instants = spans[0][0] + np.array([0, 1, 24, 25, 59 * 24, 59 * 24 + 1, 60 * 24]) * HOUR
    assert find_within(instants, spans).tolist() == [False, True, True, False, False, True, True]
    assert not find_within(instants, []).any()


def test_spans_that_touch_are_one() -> None:
    day = np.timedelta64(timedelta(days=1))
    start = at("2025-01-01")
    spans = [
        (start + day, start + 3 * day),
        (start, start + day),
        (start + 2 * day, start + day * 2),
    ]
    assert merge_spans(spans) == [(start, start + 3 * day)]
