"""digseason hand"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy import Connection, Engine

from alerts.hand_words import HandReadingError, confirm, refuse
from probes.frames import Reject
from probes.hand_texts import HandTextError, parse_depth_cm
from service.cli.options import format_options, print_records, wrap_text
from service.intake.hand import HandReport, Way, Written, find_thermometer, keep_hand_readings
from service.intake.hand_texts import UnknownPhoneError, take_hand_text
from service.store.engine import reading, writing
from service.store.thermometers import HandReading, fetch_hand_readings, fetch_thermometers
from service.wiring import open_store

NOTES_HEADER = ("at", "depth", "temp", "by", "note")
COLUMNS = tuple(HandReading.__dataclass_fields__)


@click.command("hand")
@click.option("--thermometer", "thermometer_id", metavar="ID", help="The thermometer.")
@click.option("--depth", "depths", metavar="CM", multiple=True, help="As 30, 30cm or 12in.")
@click.option("--temp", "temps", metavar="T", multiple=True, help="With its unit: 61.5F or 16.4C.")
@click.option("--at", metavar="TIME", help='By the clock of the place: "2026-04-12 08:30".')
@click.option("--by", "person", metavar="NAME", default="", help="Who read it.")
@click.option("--note", metavar="TEXT", default="", help="What else there is to say.")
@click.option(
    "--notes",
    "notes_file",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help=f"Many readings: CSV with {','.join(NOTES_HEADER)}.",
)
@click.option("--text", metavar="TEXT", help='A text: "soil 30cm 61.5F 8:30 terrace".')
@click.option("--from", "phone", metavar="PHONE", help="Who sent the text, +14155550101.")
@click.option("--list", "is_list", is_flag=True, help="List what was noted.")
@format_options
@click.pass_context
def command(
    ctx: click.Context,
    thermometer_id: str | None,
    depths: Sequence[str],
    temps: Sequence[str],
    at: str | None,
    person: str,
    note: str,
    notes_file: Path | None,
    text: str | None,
    phone: str | None,
    is_list: bool,
    form: str | None,
) -> None:
    """Note what a soil thermometer said, or list what was noted.

    Give --depth and --temp again for each depth read at that time. A reading is an instant: the
    answer says what it makes of the mean of the day, with its error, and what a logger beside it
    says. Ends with 1 where a reading was refused.
    """
    _, engine = open_store(ctx.obj)
    if is_list:
        _list(engine, thermometer_id, form)
        return
    if form:
        raise click.UsageError("--json and --csv go with --list")
    if text is not None:
        ctx.exit(_take_text(engine, text, phone))
    if thermometer_id is None:
        raise click.UsageError("give --thermometer, or --text with --from, or --list")
    if notes_file is not None:
        written, way = _read_notes(notes_file), "file"
    else:
        written, way = _as_written(depths, temps, at, person, note), "command"
    with writing(engine) as connection:
        report = _keep(connection, thermometer_id, written, way)
    _print_report(report, numbered=len(written) > 1)
    ctx.exit(1 if report.not_taken else 0)


def _keep(
    connection: Connection, thermometer_id: str, written: Sequence[Written | Reject], way: Way
) -> HandReport:
    try:
        thermometer = find_thermometer(connection, thermometer_id)
    except HandReadingError as refusal:
        raise click.BadParameter(refuse(refusal, "en"), param_hint="--thermometer") from None
    return keep_hand_readings(connection, thermometer, written, way, datetime.now(UTC))


def _as_written(
    depths: Sequence[str], temps: Sequence[str], at: str | None, person: str, note: str
) -> list[Written]:
    if not temps or at is None:
        raise click.UsageError('give --temp 61.5F and --at "2026-04-12 08:30"')
    if len(depths) != len(temps) and (depths or len(temps) > 1):
        raise click.UsageError("give a --depth for each --temp")
    try:
        depths_cm = [parse_depth_cm(depth) for depth in depths] or [None]
    except HandTextError as error:
        raise click.BadParameter(_unread_depth(error.part), param_hint="--depth") from None
    pairs = zip(depths_cm, temps, strict=True)
    return [Written(at, depth_cm, temp, person, note) for depth_cm, temp in pairs]


def _unread_depth(text: str) -> str:
    return f"'{text}' is no depth; write 30, 30cm or 12in"


def _read_notes(path: Path) -> list[Written | Reject]:
    """Return the readings of a CSV of notes; the columns beyond temp may be missing."""
    hint = f"{path.name}: the first line must be {','.join(NOTES_HEADER)}, readings follow"
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            rows = list(csv.DictReader(lines, strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise click.UsageError(f"{path.name}: no CSV in UTF-8: {error}") from None
    if not rows or not {"at", "temp"} <= rows[0].keys() <= {*NOTES_HEADER}:
        raise click.UsageError(hint)
    return [_read_note(number, row) for number, row in enumerate(rows, start=1)]


def _read_note(number: int, row: dict[str, str | None]) -> Written | Reject:
    cells = {key: (row.get(key) or "").strip() for key in NOTES_HEADER}
    try:
        depth_cm = parse_depth_cm(cells["depth"]) if cells["depth"] else None
    except HandTextError as error:
        return Reject(number, f"{_unread_depth(error.part)}.", cells["depth"], 1)
    return Written(cells["at"], depth_cm, cells["temp"], cells["by"], cells["note"])


def _take_text(engine: Engine, text: str, phone: str | None) -> int:
    """Print the answer to a text; return the exit code."""
    if phone is None:
        raise click.UsageError("give --from, the phone the text came from")
    with writing(engine) as connection:
        try:
            answer = take_hand_text(connection, text, phone, datetime.now(UTC))
        except UnknownPhoneError as error:
            raise click.BadParameter(str(error), param_hint="--from") from None
    click.echo("\n".join(wrap_text(answer.text, 0)))
    return 0 if answer.import_id is not None else 1


def _print_report(report: HandReport, numbered: bool) -> None:
    for number, noted in report.noted:
        _print(number if numbered else None, " ".join(confirm(noted, "en")))
    for number, why in report.not_taken:
        _print(number if numbered else None, f"Not taken. {why}")
    if report.import_id is not None:
        take_back = f"digseason imports withdraw {report.import_id} --by NAME --why TEXT"
        click.echo(f"Wrong? Take it back: {take_back}")


def _print(number: int | None, text: str) -> None:
    click.echo("\n".join(wrap_text(text if number is None else f"{number}. {text}", 0)))


def _list(engine: Engine, thermometer_id: str | None, form: str | None) -> None:
    with reading(engine) as connection:
        places = {one.id: one for one in fetch_thermometers(connection)}
        if thermometer_id is not None and thermometer_id not in places:
            refusal = HandReadingError("no thermometer", thermometer_id, list(places))
            raise click.BadParameter(refuse(refusal, "en"), param_hint="--thermometer")
        noted = fetch_hand_readings(connection, [thermometer_id] if thermometer_id else places)
    if form:
        print_records(map(_record, noted), form, COLUMNS)
        return
    click.echo(f"{'no.':>5}  {'thermometer':<16}{'UTC':<18}{'depth':>7}{'read':>9}  by")
    for one in noted:
        line = (
            f"{one.import_id:>5}  {one.thermometer:<16}{one.observed_at:%Y-%m-%d %H:%M}  "
            f"{f'{one.depth_cm:g} cm':>7}{one.said:>9}  {one.person}"
        )
        click.echo(line.rstrip())
        for text in wrap_text(one.note, 8):
            click.echo(text)


def _record(one: HandReading) -> dict[str, Any]:
    return {**asdict(one), "observed_at": f"{one.observed_at:%Y-%m-%dT%H:%M:%SZ}"}
