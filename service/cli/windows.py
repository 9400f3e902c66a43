"""digseason windows"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from textwrap import wrap

import click
import numpy as np

from alerts.bounds import Bounds, DateRange
from alerts.figures import show_error, show_source, show_sources, show_temperature
from alerts.neighbours import FAR_KM, FAR_M, WORST_BORROWED_C
from alerts.notices import NeighbourSource, StationSource
from alerts.ribbon import draw_ribbon, explain_ribbon, explain_shades
from alerts.season import season_day
from alerts.windows import Span
from probes.units import Unit, delta_c_to_f
from service.cli.options import (
    as_of_option,
    evaluate_named,
    format_options,
    print_records,
    unit_option,
    wrap_text,
)
from service.evaluation import BlockEvaluation, find_neighbours
from service.showing import (
    basis_text,
    closing_day,
    day_text,
    find_season,
    mean_text,
    rests_on_estimates,
    window_records,
)
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "block",
    "season",
    "kind",
    "opened_on",
    "not_before",
    "opened_earliest",
    "opened_latest",
    "closed_on",
    "closed_not_before",
    "closed_earliest",
    "closed_latest",
    "may_pause",
    "reason",
    "opened_estimated",
    "closed_estimated",
    "degree_days_c",
    "basis",
    "source",
    "borrowed",
    "by_hand",
    "error_c",
    "as_of",
)


@click.command("windows")
@click.option("--block", "block_id", metavar="ID", help="One block; all unless given.")
@click.option(
    "--measured-too", is_flag=True, help="Beside estimated dates, those of its probes as they lie."
)
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(
    data: Path,
    block_id: str | None,
    measured_too: bool,
    as_of: date | None,
    unit: Unit,
    form: str | None,
) -> None:
    """Show when the scouting windows opened and closed, and how each block stands."""
    settings, engine = open_store(data)
    with reading(engine) as connection:
        evaluations = evaluate_named(connection, settings, block_id, as_of, measured_too)
    if form:
        print_records(window_records(evaluations), form, COLUMNS)
        return
    if not evaluations:
        click.echo("No blocks yet. Begin with: digseason setup FARM.toml")
    for one in evaluations:
        click.echo("\n".join([*_block_lines(one, unit), ""]))
    if evaluations:
        click.echo(explain_ribbon("en"))
        if any(one.outlook for one in evaluations):
            click.echo(explain_shades("en"))
        click.echo("A closed window says nothing about a vine.")


def _block_lines(one: BlockEvaluation, unit: Unit) -> list[str]:
    """Return a block's heading, its standing, its season as a ribbon, and a line per window."""

    top_cm, bottom_cm = one.block.root_zone_cm
    heading = f"{one.block.name} ({one.block.id}), {one.block.site_name}"
    basis = f"root zone {top_cm:g}-{bottom_cm:g} cm, {basis_text(one.root_zone)}"
    ribbon = draw_ribbon(find_season(one)).show("en")
    lines = [heading, f"  {basis}", f"  {_standing(one, unit)}", f"  {ribbon}"]
    lines[3:3] = _degree_day_lines(one, unit)
    if one.block.sources:
        lines.insert(2, f"  measured at {show_sources(one.block.sources, 'en')}")
    for source in one.sources:
        if not isinstance(source, StationSource) and source.error_c is not None:
            told = show_source(source, "en")
            told = told if isinstance(source, NeighbourSource) else f"from {told}"
            told += f", give or take {show_error(source.error_c, unit, 'en')}"
            lines[2:2] = wrap_text(told, 2)
    if one.state == "no basis" and one.block.borrows:
        lines[2:2] = wrap_text(_tell_why_nothing(one, unit), 2)
    for span, bounds in zip(one.evaluation.spans, one.bounds, strict=True):
        lines += [f"  {_window_line(span)}", *_error_lines(one, span, bounds)]
        lines += _estimate_lines(one, span)
    if not one.evaluation.spans:
        lines.append("  no window opened in the time that has readings")
    return lines


def _standing(one: BlockEvaluation, unit: Unit) -> str:
    standing = one.evaluation.standing
    if standing.mean_c is None or standing.mean_on is None:
        return f"{one.state} (as of {day_text(one.as_of)})"
    limit_c = _limit_next_c(one)
    mean = show_temperature(standing.mean_c, unit, "en", limit_c)
    return f"{one.state}: {mean_text(one.rule)} {mean} on {day_text(standing.mean_on)}"


def _tell_why_nothing(one: BlockEvaluation, unit: Unit) -> str:
    """Return why a block without probes borrows nothing."""
    error_c = one.borrowed.error_c if one.borrowed else np.array([])
    if np.isnan(error_c).all():
        return (
            f"no probe serves it, and no neighbour within {FAR_KM:g} km and {FAR_M:g} m of its "
            "height has readings to lend"
        )
    least = show_error(float(np.nanmin(error_c)), unit, "en")
    most = show_error(WORST_BORROWED_C, unit, "en")
    return (
        f"no probe serves it, and its neighbours are too unlike it to lend: give or take {least}, "
        f"and {most} is the most (`digseason neighbours`)"
    )


def _degree_day_lines(one: BlockEvaluation, unit: Unit) -> list[str]:
    """Return what the soil's warmth has come to, where the rule sums it."""
    rule, standing = one.rule, one.evaluation.standing
    if standing.degree_days_c is None:
        return []
    since = season_day(rule.degree_days_since, standing.season, one.block.south)
    total, needed = (
        delta_c_to_f(value) if unit == "F" else value
        for value in (standing.degree_days_c, rule.degree_days_sum_c or 0.0)
    )
    waits = f", spring waits for {needed:.0f}" if rule.degree_days == "condition" else ""
    return [f"  degree-days of the soil since {day_text(since)}: {total:.0f} °{unit} d{waits}"]


def _limit_next_c(one: BlockEvaluation) -> float:
    """Return the limit that the mean is read against: the opening one, then the cold one."""

    rule, spans = one.rule, one.evaluation.spans
    begun = any(span.season == one.evaluation.standing.season for span in spans)
    return rule.cold_below_c if begun else rule.spring_opens_c


def _window_line(span: Span) -> str:
    opened = day_text(span.opened_on)
    if span.not_before < span.opened_on:
        opened = f"between {day_text(span.not_before)} and {opened}"
    closed = f"to {day_text(span.closed_on)}, {span.reason}" if span.closed_on else "open"
    return f"{span.season} {span.kind:<6}  {opened:<35}  {closed}"


def _estimate_lines(one: BlockEvaluation, span: Span) -> list[str]:
    """Return which of a window's dates rest on days without all their probes."""
    if one.root_zone.is_carried:
        return []  # all of them, as its basis says
    days = {"opening": span.opened_on, "close": closing_day(span)}
    told = [what for what, day in days.items() if rests_on_estimates(one, day)]
    borrowed = [what for what in told if find_neighbours(one, days[what] or one.as_of)]
    bridged = [what for what in told if what not in borrowed]
    return [
        f"    {' and '.join(some)} {how}"
        for some, how in ((borrowed, "borrowed"), (bridged, "estimated: a probe was bridged"))
        if some
    ]


def _error_lines(one: BlockEvaluation, span: Span, bounds: Bounds) -> list[str]:
    """Return what the error of the readings, besides gaps, leaves open of a window's dates."""
    told: list[str] = []
    error = "the error"
    opened, closed = bounds.opened, bounds.closed
    if opened != DateRange(span.not_before, span.opened_on):
        wide = opened.is_wide(span.opened_on, span.not_before)
        measured = not rests_on_estimates(one, span.opened_on)
        change = "warms" if span.kind == "spring" else "cools"
        slow = f"the soil {change} slowly, " * (wide and measured)
        error += ", which is wide" * (wide and not measured)
        told.append(f"{slow}opened {_range_text(opened)}")
    if closed and span.reason != "spent" and closed != _known_close(span):
        told.append(f"closed {_range_text(closed)}")
    if bounds.may_pause:
        told.append("perhaps closed for a while")
    text = f"give or take {error}: {'; '.join(told)}"
    return wrap(text, 80, initial_indent="    ", subsequent_indent="      ") if told else []


def _known_close(span: Span) -> DateRange | None:
    return span.closed_not_before and DateRange(span.closed_not_before, span.closed_on)


def _range_text(days: DateRange) -> str:
    first = f"{days.earliest.day} {days.earliest:%b}"
    if days.latest is None:
        return f"{first} or later, or not at all"
    return f"{first} to {days.latest.day} {days.latest:%b}"
