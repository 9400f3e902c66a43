"""digseason whatif"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from textwrap import fill
from typing import Any, cast

import click

from alerts.rules import Kind
from alerts.variants import ContradictionError, Numbers
from probes.units import Unit, c_to_f, delta_c_to_f, delta_f_to_c, f_to_c
from service.cli.options import (
    as_of_option,
    evaluate_several,
    format_options,
    print_records,
    unit_option,
)
from service.showing import Record, basis_text
from service.store.engine import reading
from service.whatif import Trial, try_rules
from service.wiring import open_store

COLUMNS = (
    "block",
    "season",
    "spring_opens_f",
    "spring_opens_c",
    "margin_f",
    "mean_days",
    "spring_opened_on",
    "spring_moved_d",
    "spring_closed_on",
    "fall_opened_on",
    "fall_moved_d",
    "fall_closed_on",
    "basis",
)


class Several(click.ParamType[list[float]]):
    """Numbers with commas in between: 60,62,64."""

    name = "numbers"

    def __init__(self, lowest: float, highest: float, whole: bool = False) -> None:
        self.lowest, self.highest, self.read = lowest, highest, int if whole else float

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> list[float]:
        """Return the numbers; a nan lies within no bounds."""
        try:
            numbers = [self.read(text) for text in value.split(",")]
        except ValueError:
            self.fail(f"'{value}' is no list of numbers; write them like 60,62", param, ctx)
        for number in numbers:
            if not self.lowest <= number <= self.highest:
                bounds = f"{self.lowest:g} to {self.highest:g}"
                self.fail(f"{number:g} is not within {bounds}", param, ctx)
        return numbers


@click.command("whatif")
@click.option("--block", "block_ids", metavar="ID", multiple=True, help="All unless given.")
@click.option("--open-f", type=Several(14, 140), default=None, help="Spring opens at, in °F.")
@click.option("--open-c", type=Several(-10, 60), default=None, help="Spring opens at, in °C.")
@click.option("--margin-f", type=Several(0, 36), default=None, help="The margin, in °F.")
@click.option("--mean-days", type=Several(1, 31, whole=True), default=None, help="Of the mean.")
@click.option("--season", type=int, metavar="YEAR", help="One season; all unless given.")
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(
    data: Path,
    block_ids: tuple[str, ...],
    open_f: list[float] | None,
    open_c: list[float] | None,
    margin_f: list[float] | None,
    mean_days: list[int] | None,
    season: int | None,
    as_of: date | None,
    unit: Unit,
    form: str | None,
) -> None:
    """Show how dates move under other numbers of the rule; nothing is changed.

    Several numbers with commas in between, such as --open-f 60,62,64,66; of several options each
    combination is tried. A mean of other days needs the same share of them.
    """
    numbers = Numbers(
        [*map(f_to_c, open_f or ()), *(open_c or ())],
        [delta_f_to_c(margin) for margin in margin_f or ()],
        mean_days or (),
    )
    if not (open_f or open_c or margin_f or mean_days):
        raise click.UsageError("say which numbers to try, such as --open-f 60,62,64,66")
    settings, engine = open_store(data)
    with reading(engine) as connection:
        evaluations = evaluate_several(connection, settings, block_ids, as_of)
    try:
        trials = list(try_rules(evaluations, numbers))
    except ContradictionError as error:
        raise click.UsageError(str(error)) from None
    bases = {one.block.id: basis_text(one.root_zone) for one in evaluations}
    records = [
        record | {"basis": bases[trial.block.id]}
        for trial in trials
        for record in _records(trial)
        if season in (None, record["season"])
    ]
    if form:
        print_records(records, form, COLUMNS)
        return
    names = {one.block.id: f"{one.block.name}, {one.block.site_name}" for one in evaluations}
    for block_id, of_block in groupby(records, itemgetter("block")):
        heading = f"{names[str(block_id)]} ({block_id}), {bases[str(block_id)]}"
        click.echo("\n".join([fill(heading, 80), *_table(of_block, unit), ""]))
    click.echo("Days in brackets are against the block's own rule set.")


def _records(trial: Trial) -> Iterator[Record]:
    """Give a record for each season in which a window opened, under this rule or the own one."""
    rule = trial.rule
    for season in sorted({span.season for span in (*trial.spans, *trial.own_spans)}):
        record: Record = {
            "block": trial.block.id,
            "season": season,
            "spring_opens_f": round(c_to_f(rule.spring_opens_c), 9),
            "spring_opens_c": rule.spring_opens_c,
            "margin_f": round(delta_c_to_f(rule.margin_c), 9),
            "mean_days": rule.mean_days,
        }
        for kind in ("spring", "fall"):
            now, own = (
                [one for one in spans if (one.season, one.kind) == (season, kind)]
                for spans in (trial.spans, trial.own_spans)
            )
            closed_on = now[-1].closed_on if now else None
            record |= {
                f"{kind}_opened_on": now[0].opened_on.isoformat() if now else None,
                f"{kind}_moved_d": (now[0].opened_on - own[0].opened_on).days
                if now and own
                else None,
                f"{kind}_closed_on": closed_on and closed_on.isoformat(),
            }
        yield record


def _table(records: Iterable[Record], unit: Unit) -> Iterator[str]:
    """Give a heading, and a line per season and rule: a window from first opening to last close."""
    yield f"{'season':<8}{'opens at':<10}{'margin':<9}{'mean':<6}{'spring':<24}fall"
    for one in sorted(records, key=itemgetter("season")):
        opens = one["spring_opens_f"] if unit == "F" else one["spring_opens_c"]
        margin = one["margin_f"] if unit == "F" else delta_f_to_c(cast(float, one["margin_f"]))
        rule = f"{f'{opens:.4g} °{unit}':<10}{f'{margin:.3g} °{unit}':<9}{one['mean_days']:>2} d  "
        yield f"{one['season']:<8}{rule}{_window(one, 'spring'):<24}{_window(one, 'fall')}"


def _window(one: Record, kind: Kind) -> str:
    """Return "27 Sep - 8 Nov (+3)"."""
    opened_on, closed_on, moved_d = (
        one[f"{kind}_{name}"] for name in ("opened_on", "closed_on", "moved_d")
    )
    if opened_on is None:
        return "does not open"
    days = " - ".join(_short(str(day)) for day in (opened_on, closed_on) if day)
    moved = f" ({moved_d:+})" if moved_d else ""
    return f"{days}{'' if closed_on else ' on'}{moved}"


def _short(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day.day} {day:%b}"
