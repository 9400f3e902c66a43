"""What has waited for a reader, as far as it is still news."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date

from alerts.bounds import DateRange
from alerts.expectations import LIKELY, Expectation
from alerts.notices import ASIDE, Notice


def leave_out_past(
    waiting: Mapping[int, Notice], heard: Collection[int], as_of: date
) -> dict[int, Notice]:
    """Return what is still news of what has waited for one reader.

    Parameters
    ----------
    waiting : mapping
        By number, in the order in which it was made.
    heard : collection of int
        The numbers of those of whose window the reader was told something before.
    as_of : date
        The last day of readings of the digest.

    Of a window that opened and closed unheard of, or was called off, only how the season was is
    told; and no more that one is likely to open once the days are past on which it was.
    """
    last: dict[tuple[str, int, str], Notice] = {}
    for one in waiting.values():
        if one.what not in ASIDE:
            last[_window(one)] = one
    is_heard: dict[tuple[str, int, str], bool] = defaultdict(bool)
    for number, one in waiting.items():
        is_heard[_window(one)] |= number in heard
    gone = {window for window, one in last.items() if _is_over(one) and not is_heard[window]}
    return {
        number: one
        for number, one in waiting.items()
        if one.what == "season summary" or (_window(one) not in gone and not _is_past(one, as_of))
    }


def renew_likely(
    notices: Mapping[int, Notice], expected: Mapping[str, Expectation]
) -> dict[int, Notice]:
    """Return the same with what the outlook says now of windows that were to open soon.

    Parameters
    ----------
    notices : mapping
        By number.
    expected : mapping
        What is to come now in some of the blocks, by the block's id.

    Of a window that is more likely not to open any more nothing is told.
    """
    renewed = {number: _renew(one, expected.get(one.block_id)) for number, one in notices.items()}
    return {number: one for number, one in renewed.items() if one is not None}


def _renew(one: Notice, expected: Expectation | None) -> Notice | None:
    outlook = expected and expected.outlook
    if one.what != "opening soon" or outlook is None or outlook.opens is None:
        return one
    opens = outlook.opens
    if (outlook.season, outlook.kind) != (one.season, one.kind) or opens.by_now >= LIKELY:
        return one
    if opens.p10 is None or opens.p50 is None:
        return None
    return replace(one, opened_range=DateRange(opens.p10, opens.p90))


def _window(one: Notice) -> tuple[str, int, str]:
    return one.block_id, one.season, one.kind


def _is_over(last: Notice) -> bool:
    return last.closed_on is not None or last.opened_on is None


def _is_past(one: Notice, as_of: date) -> bool:
    likely = one.opened_range
    return one.what == "opening soon" and bool(likely and likely.latest and likely.latest < as_of)
