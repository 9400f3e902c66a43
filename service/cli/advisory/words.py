"""Advisories in lines, and the one that a number names."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

import click
from sqlalchemy import Connection, Engine

from alerts.advisories.figures import Advisory, find_differences
from alerts.advisories.letter import name_district
from service.advisories.drafting import find_figures_now
from service.advisories.members import find_members
from service.advisories.releasing import Run, find_cost, foresee
from service.channels.choosing import is_real
from service.cli.options import wrap_text
from service.settings import Settings
from service.showing import count_text, day_text
from service.store.advisories import KeptAdvisory, fetch_advisories
from service.store.engine import reading, writing

number_argument = click.argument("number", metavar="N", type=int)

LISTED = 12


def fetch_one(connection: Connection, number: int) -> KeptAdvisory:
    """Return the advisory of a number, or refuse it."""
    found = fetch_advisories(connection, number)
    if not found:
        raise click.BadParameter(f"there is no advisory {number}", param_hint="N")
    return found[0]


def fetch_held(connection: Connection, number: int) -> KeptAdvisory:
    """Return the advisory of a number, or refuse one that is held no more."""
    one = fetch_one(connection, number)
    if one.state != "held":
        raise refuse(one)
    return one


def refuse(one: KeptAdvisory) -> click.UsageError:
    """Return that an advisory does not wait any more: nothing is done, and nothing sent."""
    remedy = "`digseason advisory` lists those there are"
    return click.UsageError(f"nothing is done: advisory {one.id} {describe_state(one)}; {remedy}")


def describe_state(one: KeptAdvisory) -> str:
    """Return how an advisory stands, since when and by whom, and of what it speaks."""
    state = _describe_state(one)
    return f"{state}, of {', '.join(sorted(one.district_ids))} only" if one.district_ids else state


def _describe_state(one: KeptAdvisory) -> str:
    match one.state:
        case "released":
            return f"was released by {one.released_by} on {one.released_at:%Y-%m-%d %H:%M} UTC"
        case "dropped":
            told = f"was dropped by {one.dropped_by} on {one.dropped_at:%Y-%m-%d %H:%M} UTC"
            return f"{told}: {one.dropped_why}"
        case "replaced":
            return f"was replaced by a later draft on {one.replaced_at:%Y-%m-%d %H:%M} UTC"
    drafted = one.drafted_by or "a round"
    return f"is held, drafted by {drafted} on {one.drafted_at:%Y-%m-%d %H:%M} UTC"


def foretell(
    engine: Engine, settings: Settings, one: KeptAdvisory, as_of: date | None
) -> tuple[Run, list[str], bool]:
    """Return what releasing an advisory would come to, the same in lines, and whether things have
    changed since it was drafted.
    """
    now = datetime.now(UTC)
    with reading(engine) as connection:
        figures = find_figures_now(connection, settings, now, as_of, one.district_ids)
    with writing(engine) as connection:
        members = find_members(connection, settings, now, one.district_ids)
        run = foresee(one, members, settings)
    changes = list(_describe_differences(one, figures))
    return run, [*_describe_run(run, settings), *changes], bool(changes)


def _describe_run(run: Run, settings: Settings) -> Iterator[str]:
    """Give what a release comes to: to whom, what it costs, and who is left out."""
    told = f"to {count_text(run.members, 'member')}: {count_text(run.mails, 'mail')} and "
    yield from wrap_text(f"{told}{count_text(run.texts, 'text')}", 0)
    if run.texts:
        yield from wrap_text(f"the texts cost {_find_cost(run, settings)}", 0)
    if run.without_note:
        count = f"{count_text(run.without_note, 'text')} of {run.texts:,}"
        yield from wrap_text(f"the note is too long for {count}; mails have it", 0)
    for name, why in run.left_out[:LISTED]:
        yield from wrap_text(f"not to {name}: {why}", 0)
    if len(run.left_out) > LISTED:
        yield f"and not to {len(run.left_out) - LISTED:,} more"


def _find_cost(run: Run, settings: Settings) -> str:
    if not is_real("sms", settings):
        return "nothing: they are files"
    parts = count_text(run.parts, "part")
    cost = find_cost(run, settings)
    if cost is None:
        return f"what your gateway takes for {parts}; set DIGSEASON_SMS_PART_PRICE to see it"
    return f"about {cost[0]:,} {cost[1]}: {parts} at {settings.sms_part_price} each"


def _describe_differences(one: KeptAdvisory, now: Advisory) -> Iterator[str]:
    """Give what has changed since an advisory was drafted, as far as readings say."""
    differences = find_differences(one.figures, now)
    if differences:
        since = f"since the draft, of {day_text(one.as_of)}, up to {day_text(now.as_of)}:"
        yield from wrap_text(f"things have changed {since}", 0)
    for then, other in differences:
        name = name_district(other, now, "all blocks", "en")
        before = f", {then.group.open} of {then.group.blocks} then" if then else ""
        told = f"{name}: {other.group.open} of {other.group.blocks} open{before}"
        if other.group.not_known:
            told += f"; {other.group.not_known} not known for lack of readings"
        yield from wrap_text(told, 2)
    if differences:
        yield "`digseason advisory draft --by NAME` drafts it anew and keeps the notes"
