"""Notices for tests: one block's spring window, opened on 4 October, and what differs from it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from alerts.bounds import DateRange
from alerts.notices import Notice, Nowcast, Summary, What
from probes.units import f_to_c

OPENED = Notice(
    block_id="terrace-7",
    block_name="Terrace 7",
    site_name="Alder Bench",
    season=2025,
    kind="spring",
    what="opened",
    opened_on=date(2025, 10, 4),
    not_before=date(2025, 10, 4),
    closed_on=None,
    reason=None,
    told_opened_on=None,
    told_closed_on=None,
    ends_by=date(2025, 11, 15),
    mean_c=f_to_c(64.6),
    mean_on=date(2025, 10, 4),
    limit_c=f_to_c(64.0),
    root_zone_cm=(15.0, 45.0),
    basis_cm=(15.0, 30.0, 45.0),
)

NOT_OPENED: dict[str, Any] = {
    "what": "corrected",
    "opened_on": None,
    "not_before": None,
    "ends_by": None,
    "limit_c": None,
    "told_opened_on": date(2025, 10, 4),
}

NOT_KNOWN: dict[str, Any] = {**NOT_OPENED, "mean_on": date(2025, 9, 25), "not_known": True}
NOT_KNOWN_OPEN: dict[str, Any] = {
    "what": "corrected",
    "told_opened_on": date(2025, 10, 4),
    "told_closed_on": date(2025, 10, 16),
    "mean_on": date(2025, 10, 10),
    "not_known": True,
}
OPENING_SOON: dict[str, Any] = {
    "what": "opening soon",
    "opened_on": None,
    "not_before": None,
    "ends_by": None,
    "mean_c": f_to_c(61.3),
    "opened_range": DateRange(date(2025, 10, 24), date(2025, 11, 2)),
}
SUMMED_UP: dict[str, Any] = {
    "what": "season summary",
    "kind": "fall",
    "opened_on": None,
    "not_before": None,
    "ends_by": None,
    "limit_c": None,
    "summary": Summary(
        (
            ("spring", date(2025, 10, 4), date(2025, 11, 15)),
            ("fall", date(2026, 2, 20), date(2026, 3, 10)),
            ("fall", date(2026, 3, 20), date(2026, 4, 21)),
        ),
        f_to_c(78.2),
        date(2026, 1, 20),
    ),
}


def make_notice(block: str = "Terrace 7", site: str = "Alder Bench", **changes: Any) -> Notice:
    """Return OPENED for a block of this name, with changes."""
    return replace(OPENED, block_id=f"{site}/{block}", block_name=block, site_name=site, **changes)


def make_closed(reason: str, **changes: Any) -> Notice:
    """Return a notice that spring dig season closed on 20 October for a reason."""
    limit_f = {"cold": 60.0, "hot": 86.0}.get(reason)
    facts: dict[str, Any] = {
        "what": "closed",
        "closed_on": date(2025, 10, 20),
        "ends_by": None,
        "mean_c": f_to_c({"cold": 59.1, "hot": 86.9}.get(reason, 70.2)),
        "mean_on": date(2025, 10, 20),
        "limit_c": None if limit_f is None else f_to_c(limit_f),
    }
    return make_notice(**{"reason": reason, **facts, **changes})


def make_nowcast(what: What = "probably open", **changes: Any) -> Notice:
    """Return a notice of 20 October: since about 4 October, by readings up to 20 September."""
    since = date(2025, 10, 4)
    facts: dict[str, Any] = {
        "opened_on": since if what == "probably open" else None,
        "closed_on": since if what == "probably closed" else None,
        "not_before": None,
        "ends_by": None,
        "nowcast": Nowcast(date(2025, 10, 20), since, 0.857, date(2025, 9, 20)),
    }
    return make_notice(what=what, **{**facts, **changes})
