"""digseason propose"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from statistics import mean
from textwrap import wrap
from zoneinfo import available_timezones

import click

from probes.logger_files import FileRefused
from probes.proposing.clocks import Place
from probes.proposing.proposal import FOUND, LIKELY, YOURS, Finding, Proposal, Trial
from probes.proposing.propose import propose_layout
from service.cli.options import WIDTH
from service.farm.text import pair_text
from service.store.clocks import fetch_site_places
from service.store.engine import reading
from service.wiring import has_store, open_store

SITES_TOLD = 4
TO_WRITE = {
    "clock": 'an example: clock = "UTC-08:00"',
    "stamp": 'write stamp = "end", "start" or "instant"',
}


def _check_zone(_: click.Context, param: click.Parameter, zone: str | None) -> str | None:
    if zone is not None and zone not in available_timezones():
        raise click.BadParameter(
            f"'{zone}' is no time zone; write it as America/Los_Angeles", param=param
        )
    return zone


@click.command("propose")
@click.argument(
    "file", metavar="FILE", type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option(
    "--site",
    "site_id",
    metavar="ID",
    help="Where its logger stands; any site of the store unless given.",
)
@click.option(
    "--zone", metavar="ZONE", callback=_check_zone, help="The time zone of that place instead."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context, file: Path, site_id: str | None, zone: str | None, as_json: bool
) -> None:
    """Propose a layout for an unknown logger file; nothing is imported.

    Prints the table [layout.new] to be pasted into the farm file, each key with its evidence. What
    is likely is a comment: take its mark away where you agree. What is undecided is for you to
    write. The whole file is read by the proposal, to show what it gives. Ends with 1 where more is
    undecided than what only you can know.

    The clock is what the file says. Where it says nothing it is sought among the time zone of the
    site, its standard time and UTC, by the nights on which people set their clocks and by the hour
    at which soil is warmest.
    """
    if site_id and zone:
        raise click.UsageError("give --site or --zone, one of the two")
    places = [Place(zone, zone)] if zone else _places_of(ctx.obj, site_id)
    try:
        proposal = propose_layout(file, datetime.now(UTC), places)
    except FileRefused as error:
        raise click.ClickException(str(error)) from None
    click.echo(_as_json(proposal) if as_json else "\n".join(_describe(file, proposal)))
    ctx.exit(0 if proposal.is_decided else 1)


def _places_of(data: Path, site_id: str | None) -> list[Place]:
    """Return a site of the store, or all of them, those of one time zone as one place.

    Where there is no store yet there are none, and none is made.
    """
    if site_id is None and not has_store(data):
        return []
    _, engine = open_store(data)
    with reading(engine) as connection:
        sites = fetch_site_places(connection)
    if site_id is not None:
        if site_id not in sites:
            known = ", ".join(sorted(sites)) or "none yet, run setup first"
            raise click.BadParameter(
                f"there is no site '{site_id}'; known: {known}", param_hint="--site"
            )
        sites = {site_id: sites[site_id]}
    by_zone: dict[str, list[tuple[str, float]]] = {}
    for name, place in sites.items():
        by_zone.setdefault(place.timezone, []).append((name, place.longitude_deg))
    return [
        Place(_name([name for name, _ in of_zone]), zone, mean(deg for _, deg in of_zone))
        for zone, of_zone in by_zone.items()
    ]


def _name(sites: list[str]) -> str:
    first, *others = sites
    if len(sites) > SITES_TOLD:
        return f"{first} and {len(others)} other sites"
    return f"{', '.join(sites[:-1])} and {sites[-1]}" if others else first


def _as_json(proposal: Proposal) -> str:
    layout = {each.key: each.value for each in proposal.findings if each.certainty == FOUND}
    content = {"decided": proposal.is_decided, "layout": layout, **asdict(proposal)}
    return json.dumps(content, indent=2, ensure_ascii=False)


def _describe(file: Path, proposal: Proposal) -> Iterator[str]:
    yield f"# Proposed from {file.name}; nothing was imported."
    yield "[layout.new]"
    for finding in proposal.findings:
        yield from _finding_lines(finding)
    for remark in proposal.remarks:
        yield from _comment(f"seen: {remark}")
    yield from _trial_lines(proposal.trial)


def _finding_lines(finding: Finding) -> Iterator[str]:
    if finding.certainty == FOUND:
        pair = pair_text(finding.key, finding.value).rstrip("\n")
        if len(pair) + len(finding.evidence) + 4 <= WIDTH:
            yield f"{pair}  # {finding.evidence}"
        else:
            yield from _comment(f"{finding.evidence}:")
            yield pair
        return
    key, mark, to_write = finding.key, finding.certainty, ""
    if finding.certainty == YOURS:
        mark = "undecided, yours to state"
        to_write = f"; {TO_WRITE[key]}"
    elif finding.value is not None:
        key = pair_text(key, finding.value)
    yield from _comment(f"{mark}: {' '.join(key.split())}: {finding.evidence}{to_write}")
    if finding.certainty == LIKELY:
        yield f"# {key}"


def _trial_lines(trial: Trial | None) -> Iterator[str]:
    if trial is None:
        return
    if trial.refused:
        yield from _comment(f"read so, the file is refused: {trial.refused}")
        return
    yield from _comment(
        f"read so: {trial.kept:,} readings kept, {trial.missing:,} missing, "
        f"{trial.rejected:,} rejected; what is open was taken as UTC, stamps as ends"
    )
    for line, reason in trial.rejects:
        yield from _comment(f"rejected, line {line}: {reason}")


def _comment(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="# ", subsequent_indent="#   ")
