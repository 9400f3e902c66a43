"""digseason propose"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from textwrap import wrap

import click

from probes.logger_files import FileRefused
from probes.proposing.proposal import FOUND, UNDECIDED, Finding, Proposal, Trial
from probes.proposing.propose import propose_layout
from service.cli.options import WIDTH
from service.farm.text import pair_text

SAY = {"clock": 'clock = "UTC-08:00"', "stamp": 'stamp = "end", "start" or "instant"'}


@click.command("propose")
@click.argument(
    "file", metavar="FILE", type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(ctx: click.Context, file: Path, as_json: bool) -> None:
    """Propose a layout for an unknown logger file; nothing is imported.

    Prints the table [layout.new] to be pasted into the farm file, each key with its evidence. What
    only you can know is left for you to write; what the file leaves open is marked undecided. The
    whole file is read by the proposal, to show what it gives. Ends with 1 where something is
    undecided.
    """
    try:
        proposal = propose_layout(file, datetime.now(UTC))
    except FileRefused as error:
        raise click.ClickException(str(error)) from None
    click.echo(_as_json(proposal) if as_json else "\n".join(_describe(file, proposal)))
    ctx.exit(0 if proposal.is_decided else 1)


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
    pair = SAY.get(finding.key, finding.key)
    if finding.value is not None:
        pair = pair_text(finding.key, finding.value)
    mark = "undecided" if finding.certainty == UNDECIDED else "yours to state"
    yield from _comment(f"{mark}: {' '.join(pair.split())}: {finding.evidence}")


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
