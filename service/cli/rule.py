"""digseason rule"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill
from typing import Any

import click
from sqlalchemy import Connection

from alerts.rules import FACTS, ORIGINS, WindowRule
from probes.units import c_to_f, delta_c_to_f
from service.cli.options import format_options, print_records
from service.farm.rule_tables import STEPS, find_origins, make_rules
from service.rule_sets import fetch_rule_tables, fetch_rules
from service.showing import Record
from service.store.blocks import fetch_blocks
from service.store.engine import reading
from service.wiring import open_store

LISTED = ("rule", "windows", "spring_opens_f", "spring_opens_c", "blocks")
SHOWN = ("number", "value", "value_f", "value_c", "origin")


@click.group("rule")
def command() -> None:
    """Show the rule sets that blocks may follow.

    Write your own as [rule.NAME] into the farm file.
    """


@command.command("list")
@format_options
@click.pass_obj
def list_command(data: Path, form: str | None) -> None:
    """List the rule sets and how many blocks follow each."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        records = list(_listed(connection))
    if form:
        print_records(records, form, LISTED)
        return
    for one in records:
        opens = f"{one['spring_opens_f']:.4g} °F ({one['spring_opens_c']:.3g} °C)"
        windows = f"{one['windows']} from {opens}"
        blocks = "1 block" if one["blocks"] == 1 else f"{one['blocks']} blocks"
        click.echo(f"{one['rule']:<20}  {windows:<38}  {blocks}")


@command.command("show")
@click.argument("name", metavar="NAME")
@format_options
@click.pass_obj
def show_command(data: Path, name: str, form: str | None) -> None:
    """Print each number of a rule set with where it comes from."""
    _, engine = open_store(data)
    with reading(engine) as connection:
        tables = fetch_rule_tables(connection)
    rules = make_rules(tables)
    if name not in rules:
        known = ", ".join(sorted(rules))
        raise click.BadParameter(f"there is no rule set '{name}'; known: {known}")
    records = list(_shown(rules[name], find_origins(name, tables)))
    if form:
        print_records(records, form, SHOWN)
        return
    for one in records:
        click.echo(_line(one))
    click.echo(
        "\nDates are those of the north, six months later south of the equator. Three\n"
        "temperatures of spring are in print or in use, each for an event of its own:"
    )
    for fact in FACTS:
        limit = f"{c_to_f(fact.value_c):.4g} °F, {fact.value_c:.3g} °C"
        text = f"{limit}: {fact.name}; {fact.origin}"
        click.echo(fill(text, 80, initial_indent="  ", subsequent_indent="    "))
    click.echo("What a key in brackets stands for: tests/SOURCES.md")


def _listed(connection: Connection) -> Iterator[Record]:
    blocks = Counter(block.rule for block in fetch_blocks(connection))
    for name, rule in sorted(fetch_rules(connection).items()):
        yield {
            "rule": name,
            "windows": " and ".join(rule.windows),
            "spring_opens_f": round(c_to_f(rule.spring_opens_c), 9),
            "spring_opens_c": rule.spring_opens_c,
            "blocks": blocks[name],
        }


def _shown(rule: WindowRule, origins: dict[str, str]) -> Iterator[Record]:
    """Give each number of a rule, a temperature on both scales, and where it comes from."""
    for field, origin in ORIGINS.items():
        value: Any = getattr(rule, field)
        record: Record = dict.fromkeys(SHOWN)
        record |= {"number": field.removesuffix("_c"), "value": value, "origin": origin}
        if field in origins:
            record["origin"] = f"set in the farm file, [rule.{origins[field]}]"
        if value is None:
            record["value"] = "none"
        elif field.endswith("_c"):
            to_f = delta_c_to_f if field in STEPS else c_to_f
            record |= {"value": None, "value_f": round(to_f(value), 9), "value_c": value}
        elif field == "windows":
            record["value"] = " and ".join(value)
        elif isinstance(value, tuple):
            record["value"] = "{:02}-{:02}".format(*value)
        yield record


def _line(one: Record) -> str:
    shown = one["value"]
    if one["value_f"] is not None:
        shown = f"{one['value_f']:.4g} °F ({one['value_c']:.3g} °C)"
    return f"{one['number']:<18}{shown:<19}{one['origin']}"
