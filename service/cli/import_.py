"""digseason import"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, datetime
from pathlib import Path

import click

from probes.logger_files import FileRefused
from service.cli.options import wrap_text
from service.cli.progress import progress_bar
from service.cli.rejects import describe_rejects
from service.intake.files import import_file
from service.intake.ingest import Progress
from service.intake.known import WithdrawnError
from service.intake.reports import COUNTS, FileReject, ImportReport
from service.store.loggers import UnknownLoggerError
from service.wiring import open_store

LISTED = 20
LONG_FILE_BYTES = 5_000_000  # about a second of work


@click.command("import")
@click.option("--logger", "logger_id", metavar="ID", required=True, help="The logger they are of.")
@click.argument(
    "files",
    nargs=-1,
    required=True,
    metavar="FILE...",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
)
@click.option("--dry-run", is_flag=True, help="Say what would be done; write nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context, logger_id: str, files: Sequence[Path], dry_run: bool, as_json: bool
) -> None:
    """Read logger files into the store, as the layout of their logger says.

    A reading that the store holds already is left as it is, so a file may be imported again. Ends
    with 1 where something was rejected, conflicts with what the store holds or is no file;
    signs of a wrong clock or unit alone leave it at 0.
    """
    _, engine = open_store(ctx.obj)
    reports = []
    for path in files:
        try:
            with _progress(path) as progress:
                now = datetime.now(UTC)
                reports.append(import_file(engine, logger_id, path, now, dry_run, progress))
        except UnknownLoggerError as error:
            raise click.BadParameter(str(error), param_hint="--logger") from None
        except (FileRefused, WithdrawnError) as error:
            reason = str(error).removeprefix(f"{path.name}: ")
            reports.append(ImportReport(rejects=(FileReject(str(path), None, reason, ""),)))
    report = sum(reports, ImportReport())
    signs = [
        f"{path.name}: {sign}"
        for path, one in zip(files, reports, strict=True)
        for sign in one.signs
    ]
    if as_json:
        click.echo(_as_json(report, signs))
    else:
        click.echo("\n".join(_describe(files, reports, report, signs)))
        if dry_run:
            click.echo("\nDry run: nothing was written.")
    ctx.exit(1 if report.rejects or report.conflicting else 0)


def _progress(path: Path) -> AbstractContextManager[Progress]:
    """Return a bar for a long file."""
    is_long = path.stat().st_size >= LONG_FILE_BYTES
    return progress_bar(path.name) if is_long else nullcontext(lambda _: None)


def _as_json(report: ImportReport, signs: Sequence[str]) -> str:
    rejects = [vars(reject) for reject in report.rejects]
    record = {**_counts(report), "rejects": rejects, "signs": signs, "notes": report.notes}
    return json.dumps(record, indent=2, ensure_ascii=False)


def _counts(report: ImportReport) -> dict[str, int]:
    return {name: getattr(report, name) for name in COUNTS}


def _describe(
    files: Sequence[Path],
    reports: Sequence[ImportReport],
    report: ImportReport,
    signs: Sequence[str],
) -> Iterator[str]:
    """Give a line a file, the counts of all, and the first of what does not count."""
    for path, one in zip(files, reports, strict=True):
        parts = [f"{count:,} {name}" for name, count in _counts(one).items() if count]
        refused = any(reject.line is None for reject in one.rejects)
        what = "refused" if refused else ", ".join(parts) or "no readings"
        yield from wrap_text(f"{path.name}: {what}", 0)
    yield "\nReadings"
    for name, count in _counts(report).items():
        yield f"  {name:<11}{count:>14,}"
    for note in dict.fromkeys(report.notes):
        yield "\nNote"
        yield from wrap_text(note, 2)
    if report.others:
        yield f"\nRows of other loggers: {report.others:,}"
    if signs:
        yield "\nSigns of a wrong clock or unit; no value was changed"
    for sign in signs:
        yield from wrap_text(sign, 2)
    if report.rejects:
        yield "\nRejected"
    yield from describe_rejects(report.rejects)
    if report.conflicts:
        yield "\nConflicting: the value that came first is kept"
    for conflict in report.conflicts[:LISTED]:
        when = f"{conflict.file}, {conflict.channel}, {conflict.observed_at:%Y-%m-%d %H:%M} UTC"
        yield from wrap_text(f"{when}: {conflict.kept_c:.6g} °C, not {conflict.other_c:.6g} °C", 2)
    if report.conflicting > LISTED:
        yield f"  and {report.conflicting - LISTED:,} more"
