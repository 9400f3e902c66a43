"""digseason advisory, show and history: what there is, as it is read, and who was told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import select

from alerts.advisories.letter import compose_advisory, tell_outcomes
from alerts.advisories.sms import compose_advisory_sms
from alerts.digest import Reader
from alerts.gsm import count_parts
from alerts.letter_html import write_html
from alerts.words import LANGUAGES
from service.advisories.releasing import note_for
from service.cli.advisory.words import (
    describe_state,
    fetch_one,
    foretell,
    number_argument,
)
from service.cli.options import (
    as_of_option,
    format_options,
    print_records,
    unit_option,
    wrap_text,
)
from service.showing import count_text
from service.store.advisories import KeptAdvisory, fetch_advisories, fetch_members
from service.store.engine import reading
from service.store.tables import organisation
from service.wiring import open_store

COLUMNS = (
    *("number", "as_of", "state", "outcomes", "drafted_at", "drafted_by", "released_at"),
    *("released_by", "dropped_at", "dropped_by", "dropped_why", "replaced_at", "district_ids"),
)
HISTORY = (
    *("advisory", "at", "what", "person", "recipient", "channel", "address", "message"),
    "said",
)


@click.group("advisory", invoke_without_command=True)
@format_options
@click.pass_context
def command(ctx: click.Context, form: str | None) -> None:
    """List the advisories: what a whole region is told, once a person has released it.

    A round drafts one when in a district the first block opens, the first closes or the last
    closes, and at most every DIGSEASON_ADVISORY_DAYS days. Held ones go to no one.
    """
    if ctx.invoked_subcommand is not None:
        return
    _, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        kept = fetch_advisories(connection)
        if form:
            print_records(map(_record, kept), form, COLUMNS)
            return
        for one in kept:
            head = f"{one.id:>4}  {one.as_of}  {one.state}: {_outcomes(one)}"
            click.echo("\n".join(wrap_text(head, 0)))
            click.echo("\n".join(wrap_text(_tell_state(one), 6)))
    if not kept:
        click.echo("none yet; `digseason advisory draft --by NAME` drafts one")


@click.command("show")
@number_argument
@click.option(
    "--as", "shown_as", type=click.Choice(["mail", "sms", "html"]), help="As members get it."
)
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@unit_option
@as_of_option
@click.pass_obj
def show(
    data: Path, number: int, shown_as: str | None, language: str, unit: Any, as_of: date | None
) -> None:
    """Show advisory N: how it stands, what it says, to whom it would go and at what cost.

    With --as, only what a member reads.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        one = fetch_one(connection, number)
        of = connection.scalar(select(organisation.c.name)) or ""
    reader = Reader("a member", language, unit, of)
    note = note_for(one, language)
    letter = compose_advisory(one.figures, reader, note, one.released_by)
    if shown_as == "html":
        click.echo(write_html(letter))
    elif shown_as == "sms":
        text = compose_advisory_sms(one.figures, reader, note)
        click.echo("\n".join(wrap_text(text, 0)))
        click.echo(f"\n{len(text)} characters, {count_text(count_parts(text), 'part')}")
    elif shown_as == "mail":
        click.echo(letter.text)
    else:
        click.echo("\n".join(wrap_text(f"advisory {number} {describe_state(one)}", 0)))
        for kept in one.notes:
            click.echo("\n".join(_describe_note(kept)))
        click.echo(f"\n{letter.text}")
        if one.state == "held":
            click.echo("\n".join(foretell(engine, settings, one, as_of)[1]))


@click.command("history")
@click.argument("number", metavar="[N]", type=int, required=False)
@format_options
@click.pass_obj
def history(data: Path, number: int | None, form: str | None) -> None:
    """Show who drafted, noted, released or dropped what, and who was told by it; of advisory N, or
    of all.

    In --csv and --json a record each, with what became of each message.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        kept = [fetch_one(connection, number)] if number else fetch_advisories(connection)[::-1]
        for_whom = {one.id: fetch_members(connection, one.id) for one in kept}
    if form:
        records = [line for one in kept for line in _trace(one, for_whom[one.id])]
        print_records(records, form, HISTORY)
        return
    for one in kept:
        for line in _trace(one, []):
            said = f": {line['said']}" if line["said"] else ""
            by = f" by {line['person']}" if line["person"] else ""
            at = f"{line['at'][:16].replace('T', ' ')} UTC"
            click.echo("\n".join(wrap_text(f"{at}  {one.id} {line['what']}{by}{said}", 0)))
        click.echo("\n".join(_list_members(for_whom[one.id], whole=number is not None)))
    if not kept:
        click.echo("none yet")


def _outcomes(one: KeptAdvisory) -> str:
    return tell_outcomes(one.figures.region, "en")


def _tell_state(one: KeptAdvisory) -> str:
    if one.state == "held":
        return f"{describe_state(one)}; `digseason advisory show {one.id}`"
    return describe_state(one)


def _record(one: KeptAdvisory) -> dict[str, Any]:
    values = {name: getattr(one, name, None) for name in COLUMNS}
    values |= {"number": one.id, "outcomes": _outcomes(one)}
    return {name: _text(value) for name, value in values.items()}


def _text(value: Any) -> Any:
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%dT%H:%M:%SZ}"
    return value.isoformat() if isinstance(value, date) else value


def _describe_note(kept: Any) -> list[str]:
    which = f" ({kept.language})" if kept.language else ""
    said = f"note{which} by {kept.person}, {kept.noted_at:%Y-%m-%d}: {kept.text or 'taken away'}"
    return wrap_text(" ".join(said.split()), 0)


def _trace(one: KeptAdvisory, members: list[Any]) -> Iterator[dict[str, Any]]:
    """Yield what happened to an advisory, in order of time, and then who was told."""

    def line(at: datetime, what: str, person: str | None, said: str | None) -> dict[str, Any]:
        head = {"advisory": one.id, "at": _text(at), "what": what, "person": person, "said": said}
        return {**dict.fromkeys(HISTORY), **head}

    happened = [line(one.drafted_at, "drafted", one.drafted_by or "a round", _outcomes(one))]
    for note in one.notes:
        what = "noted" if note.text else "note taken away"
        happened.append(line(note.noted_at, what, note.person, note.text))
    if one.replaced_at:
        happened.append(line(one.replaced_at, "replaced", None, "a later draft"))
    if one.dropped_at:
        happened.append(line(one.dropped_at, "dropped", one.dropped_by, one.dropped_why))
    if one.released_at:
        happened.append(line(one.released_at, "released", one.released_by, None))
        for row in members:
            told = line(
                one.released_at, "left out" if row.left_out else "told", one.released_by, None
            )
            told |= {"recipient": row.recipient_name, "channel": row.channel}
            told |= {"address": row.address, "message": row.id, "said": _fate(row)}
            happened.append(told)
    yield from sorted(happened, key=lambda each: each["at"])


def _fate(row: Any) -> str:
    if row.id is None:
        return row.left_out or "waits for the next round"
    if row.ended:
        return f"{row.ended}: {row.failure}" if row.failure else row.ended
    return f"delivered at {row.delivered_at:%Y-%m-%d %H:%M} UTC" if row.delivered_at else "waits"


def _list_members(members: list[Any], whole: bool) -> Iterator[str]:
    """Give for whom an advisory was released, each or in numbers."""
    if whole:
        for row in members:
            where = f", {row.channel} to {row.address}" if row.id else ""
            yield from wrap_text(f"{row.recipient_name}{where}: {_fate(row)}", 4)
        return
    fates = Counter(_fate(row).split(" at ")[0].split(":")[0] for row in members)
    if fates:
        counts = ", ".join(f"{count:,} {fate}" for fate, count in fates.most_common())
        yield from wrap_text(counts, 4)
