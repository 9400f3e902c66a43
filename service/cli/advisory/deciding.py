"""digseason advisory note, release, drop and draft: a person's word, kept with their name."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import click

from alerts.words import LANGUAGES
from service.advisories.drafting import draft_by_hand, find_blocks
from service.advisories.releasing import NotHeldError, compose_released
from service.advisories.releasing import release as release_one
from service.cli.advisory.words import (
    fetch_held,
    fetch_one,
    foretell,
    number_argument,
    refuse,
)
from service.cli.options import as_of_option, person_option, why_option, wrap_text
from service.cli.sending_words import describe_delivery
from service.delivery import deliver
from service.showing import count_text
from service.store.advisories import KeptNote, add_note, mark_dropped
from service.store.engine import reading, writing
from service.wiring import open_store


@click.command("note")
@number_argument
@click.argument("text", metavar="TEXT")
@person_option
@click.option(
    "--language",
    type=click.Choice(LANGUAGES),
    help="For readers of this; otherwise for all others.",
)
@click.pass_obj
def note(data: Path, number: int, text: str, person: str, language: str | None) -> None:
    """Put a word of yours on top of advisory N; "" takes it away, another one replaces it.

    It stands in mails with your name, and in texts where they have room for it.
    """
    _, engine = open_store(data)
    with writing(engine) as connection:
        fetch_held(connection, number)
        kept = KeptNote(language, text.strip(), person, datetime.now(UTC))
        add_note(connection, number, kept)
    click.echo(f"noted; `digseason advisory show {number}` shows it as members will read it")


@click.command("draft")
@person_option
@click.option(
    "--district",
    "districts",
    metavar="ID",
    multiple=True,
    help="Speak of this district only, to those who grow there; may be given again.",
)
@as_of_option
@click.pass_obj
def draft(data: Path, person: str, districts: tuple[str, ...], as_of: date | None) -> None:
    """Draft an advisory now, whether or not a round would. One of the same districts that is held
    is replaced by it; its notes are kept.
    """
    settings, engine = open_store(data)
    scope = frozenset(districts) or None
    with reading(engine) as connection:
        blocks = find_blocks(connection, None)
        if not blocks:
            raise click.UsageError("there are no blocks yet; run `digseason setup FARM.toml` first")
        known = sorted({one.district_id for one in blocks if one.district_id})
        for unknown in sorted((scope or set()) - {*known}):
            remedy = f"write one of {', '.join(known)}" if known else "no site names its district"
            said = f"no block is in a district '{unknown}'; {remedy}"
            raise click.BadParameter(said, param_hint="--district")
    number = draft_by_hand(engine, settings, datetime.now(UTC), person, as_of, scope)
    click.echo(f"advisory {number} is held: `digseason advisory show {number}`")


@click.command("drop")
@number_argument
@person_option
@why_option
@click.pass_obj
def drop(data: Path, number: int, person: str, why: str) -> None:
    """Drop advisory N: it goes to no one."""
    _, engine = open_store(data)
    with writing(engine) as connection:
        if not mark_dropped(connection, number, person, why, datetime.now(UTC)):
            raise refuse(fetch_one(connection, number))
    click.echo(f"advisory {number} is dropped")


@click.command("release")
@number_argument
@person_option
@click.option("--yes", is_flag=True, help="Do not ask once more.")
@click.option("--as-drafted", is_flag=True, help="Though things have changed since the draft.")
@as_of_option
@click.pass_context
def release(
    ctx: click.Context, number: int, person: str, yes: bool, as_drafted: bool, as_of: date | None
) -> None:
    """Release advisory N: every grower it is for who wants to be told gets it, once.

    Shows to how many it goes and what the texts cost, and asks once more. Where things have changed
    since the draft it is refused, unless --as-drafted. Ends with 1 where a message was not taken.
    """
    settings, engine = open_store(ctx.obj)
    with reading(engine) as connection:
        one = fetch_held(connection, number)
    run, lines, is_changed = foretell(engine, settings, one, as_of)
    click.echo("\n".join(lines))
    if not run.members:
        raise click.UsageError("nothing is done: it would go to no one")
    if is_changed and not as_drafted:
        remedy = "draft it anew, or add --as-drafted"
        raise click.UsageError(f"nothing is done, for it is out of date: {remedy}")
    if not yes:
        click.confirm(f"Send advisory {number} to {count_text(run.members, 'member')}?", abort=True)
    try:
        with writing(engine) as connection:
            release_one(connection, one, person, datetime.now(UTC))
    except NotHeldError:
        with reading(engine) as connection:
            raise refuse(fetch_one(connection, number)) from None
    click.echo("\n".join(wrap_text(f"advisory {number} is released by {person}", 0)))
    compose_released(engine, settings, datetime.now(UTC))
    report = deliver(engine, settings, datetime.now(UTC))
    click.echo(f"{count_text(len(report.sent), 'message')} delivered")
    for line in describe_delivery(report):
        click.echo(line)
    ctx.exit(1 if report.not_sent or report.troubles else 0)
