"""What is left of a run, and whether it is what a run without faults leaves."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, select

from alerts.notices import ASIDE
from service.store import tables
from service.store.engine import reading
from service.store.outbox import fetch_messages
from tests.end_to_end.faults.story import STEPS, day_before
from tests.end_to_end.faults.world import World


@dataclass(frozen=True)
class Outcome:
    """What a run comes to.

    readings : logger, instant, value
    windows : as `digseason windows` lists them
    believed : what readers were told last of each window: block, season, kind -> opened, closed;
        None for a close that lies ahead, as only a clock that was wrong tells it, and time makes it
        true or has it corrected
    told : who was told of which window at all
    untold : what is told to no one although it should be, or was noticed twice, in words
    taken : how often each message was taken, by its Message-ID
    said : the same by channel, address and words: one that was written anew is the same one
    damage : what `digseason check` says of the store itself that wants a look
    """

    readings: frozenset[tuple[Any, ...]]
    windows: str
    believed: dict[tuple[Any, ...], tuple[Any, ...]]
    told: frozenset[tuple[Any, ...]]
    untold: list[str]
    taken: Counter[str]
    said: Counter[tuple[str, str, str]]
    damage: list[str]


def see(world: World, at: datetime = STEPS[-1]) -> Outcome:
    """Return what a run has come to."""
    listed = world.run("windows", "--as-of", day_before(at), "--json")
    checked = world.run("check", "--json")
    taken = _count_taken(world)
    t = tables
    with reading(world.engine) as connection:
        readings = connection.execute(
            select(t.probe.c.logger_id, t.reading.c.observed_at, t.reading.c.soil_temp_c).join(
                t.probe, t.probe.c.id == t.reading.c.probe_id
            )
        )
        readings = frozenset(map(tuple, readings))
        columns = [t.notice.c[name] for name in ("block_id", "season", "kind")]
        dates = t.notice.c.opened_on, t.notice.c.closed_on
        is_of_window = t.notice.c.what.not_in(ASIDE)
        query = select(*columns, *dates).where(is_of_window).order_by(t.notice.c.id)
        day = date.fromisoformat(day_before(at))
        believed = {
            tuple(row[:3]): (row[3], row[4] if row[4] is None or row[4] <= day else None)
            for row in map(tuple, connection.execute(query))
        }
        query = select(t.notice_recipient.c.recipient_name, *columns).join(
            t.notice, t.notice.c.id == t.notice_recipient.c.notice_id
        )
        told = frozenset(map(tuple, connection.execute(query.where(is_of_window))))
        untold = _find_untold(connection, taken)
    checked.wait()
    damage = _find_damage(checked.read())
    assert listed.wait() == 0, listed.read()
    said = Counter(world.list_said())
    return Outcome(readings, listed.read(), believed, told, untold, taken, said, damage)


def _find_untold(connection: Connection, taken: Counter[str]) -> list[str]:
    t = tables
    waiting = connection.execute(
        select(t.notice_recipient.c.notice_id, t.notice_recipient.c.recipient_name).where(
            t.notice_recipient.c.digest_id.is_(None)
        )
    )
    faults = [f"notice {number} of {name} is in no digest" for number, name in waiting]
    for row in fetch_messages(connection):
        is_of_story = row.created_at.date() != STEPS[0].date()
        if is_of_story and row.ended != "dropped" and not taken[row.message_id]:
            faults.append(f"message {row.id} to {row.recipient_name} was not taken: {row.ended}")
    twice = Counter(
        tuple(row)
        for row in connection.execute(
            select(
                *(t.notice.c[n] for n in ("block_id", "season", "kind", "what")),
                *(t.notice.c[n] for n in ("opened_on", "closed_on", "told_opened_on")),
                *(t.notice.c[n] for n in ("told_closed_on", "reason", "mean_on")),
            )
        )
    )
    return [
        *faults,
        *(f"noticed {count} times: {what}" for what, count in twice.items() if count > 1),
    ]


def _count_taken(world: World) -> Counter[str]:
    mails = [str(one.mail["Message-ID"]) for one in world.mail.taken]
    texts = [json.loads(asked.body)["reference"] for asked in world.gateway.asked]
    return Counter([*mails, *(text if text.startswith("<") else f"<{text}>" for text in texts)])


def _find_damage(checked: str) -> list[str]:
    findings = json.loads(checked)
    return [
        f"{one['what']}: {one['said']}"
        for one in findings
        if one["remedy"]
        and "no checksums" not in one["said"]  # of the PostgreSQL of the tests
        and one["what"] in ("integrity", "schema", "rounds", "outbox")
    ]
