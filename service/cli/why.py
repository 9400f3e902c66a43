"""digseason why"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import click

from alerts.lines import bind_numbers
from alerts.rules import Kind
from alerts.why.facts import Why
from alerts.why.words import tell_why, title_why
from alerts.words import LANGUAGES
from probes.units import Unit
from service.cli.options import WIDTH, as_of_option, evaluate_named, unit_option, wrap_text
from service.evaluation import BlockEvaluation
from service.showing import why_record
from service.store.engine import reading
from service.why import explain
from service.wiring import open_store


@click.command("why")
@click.option("--block", "block_id", metavar="ID", required=True)
@click.option("--season", type=int, metavar="YEAR", help="All dates of a season.")
@click.option("--kind", type=click.Choice(["spring", "fall"]), help="All dates of this window.")
@as_of_option
@unit_option
@click.option("--language", type=click.Choice(LANGUAGES), default="en", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of sentences.")
@click.pass_obj
def command(
    data: Path,
    block_id: str,
    season: int | None,
    kind: Kind | None,
    as_of: date | None,
    unit: Unit,
    language: str,
    as_json: bool,
) -> None:
    """Tell how a date was reached, step by step from readings to rule.

    Of today unless a season or a kind of window is named: why a block is open, or why it is not.
    """
    settings, engine = open_store(data)
    with reading(engine) as connection:
        (one,) = evaluate_named(connection, settings, block_id, as_of)
        found = explain(connection, one, season, kind)
    if as_json:
        click.echo(json.dumps([why_record(why, one, unit, language) for why in found], indent=2))
        return
    click.echo(f"{one.block.name} ({one.block.id}), {one.block.site_name}")
    if not found:
        click.echo("  no window opened in the time that is asked for")
    for why in found:
        click.echo("\n".join(_lines(why, one, unit, language)))


def _lines(why: Why, one: BlockEvaluation, unit: Unit, language: str) -> Iterator[str]:
    yield ""
    yield from wrap_text(title_why(why, language, one.as_of), 0)
    for number, sentence in enumerate(tell_why(why, language, unit), 1):
        yield from _numbered(number, sentence)


def _numbered(number: int, sentence: str) -> list[str]:
    text = click.wrap_text(bind_numbers(sentence), WIDTH, f"{number:>3}. ", "     ")
    return text.replace("\N{NO-BREAK SPACE}", " ").splitlines()
