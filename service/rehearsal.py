"""A past season played day by day by the rounds themselves, in a copy of the store.

What would have been told is written to files; nothing is sent, and the store stays as it is. A
round knows the readings up to its day as they stand now, whenever they came.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from email import message_from_string
from email.policy import default
from pathlib import Path
from tempfile import TemporaryDirectory

from pydantic import SecretStr
from sqlalchemy import Connection, Engine, Table, delete, func, select

from alerts.season import season_start
from service.backups import write_backup
from service.csv_cells import guard_cells
from service.delivery import Sent
from service.evaluation import as_of_day
from service.rounds import run_round
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.copying import Progress
from service.store.engine import open_engine, reading, writing

SUMMARY = "summary.csv"
COLUMNS: Sequence[str] = ("told_on", "recipient", "channel", "address", "message", "file")
_MORNING = time(7)
_WAS_TOLD = (
    *(tables.round_, tables.look_ahead, tables.outlook, tables.silence, tables.digest),
    *(tables.advisory, tables.dug, tables.channel_trouble),
    *(tables.outlook_air, tables.untold_pause, tables.round_lease, tables.sending_hold),
)
"""What rounds and readers have left behind, with all that refers to it."""
_NOTHING_LEAVES = {
    "smtp_host": "",
    "sms_url": "",
    "sms_mail_to": "",
    "bounces": None,
    "base_url": "",
    "link_secret": SecretStr(""),  # a link of a rehearsal is none of the real store
}


class NoRehearsalError(ValueError):
    """A season cannot be played as it was asked for."""


@dataclass(frozen=True)
class Told:
    """A message that would have been told. `message`: its subject, or the text of an SMS."""

    told_on: date
    recipient: str
    channel: str
    address: str
    message: str
    file: str


def find_days(
    connection: Connection, season: int, since: date | None, until: date | None, now: datetime
) -> list[date]:
    """Return the days of a season that rounds are run as of: those of which there are readings.

    The first day of the next season is one of them: it closes what is open then.
    """
    blocks = fetch_blocks(connection)
    if not blocks:
        raise NoRehearsalError("there are no blocks yet; run `digseason setup FARM.toml` first")
    hemispheres = {block.south for block in blocks}
    first = min(season_start(season, south) for south in hemispheres)
    last = max(season_start(season + 1, south) for south in hemispheres)
    ended = max(as_of_day(block, now) for block in blocks)
    day = tables.daily_mean.c.day
    oldest, newest = connection.execute(select(func.min(day), func.max(day))).one()
    if oldest is None or newest < first or oldest > last:
        span = f"they go from {oldest} to {newest}" if oldest else "import some first"
        raise NoRehearsalError(f"there are no readings of season {season}, {first} on; {span}")
    first, last = max(first, since or first), min(last, until or last, ended)
    days = [first + timedelta(days=ahead) for ahead in range((last - first).days + 1)]
    if not days:
        raise NoRehearsalError(f"no day of season {season} lies between {first} and {last}")
    return days


def rehearse(
    engine: Engine,
    settings: Settings,
    days: Sequence[date],
    folder: Path,
    progress: Progress = lambda _: None,
) -> list[Told]:
    """Play some days; return what would have been told, which then lies in a new folder by day.

    All of it is there at the end, or no folder is. Raises NoRehearsalError where the folder holds
    something, and what the file system says.
    """
    if folder.exists() and any(folder.iterdir()):
        raise NoRehearsalError(f"{folder} holds something; name a new folder by --to, or empty it")
    folder.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name}.") as name:
        temporary = Path(name)
        write_backup(engine, temporary / "copy.db")
        copy = open_engine(f"sqlite:///{temporary / 'copy.db'}")
        try:
            _forget_what_was_told(copy)
            told = _play(copy, settings, days, temporary, progress)
        finally:
            copy.dispose()
        _write_summary(temporary / "told" / SUMMARY, told)
        (temporary / "told").replace(folder)
    return told


def _forget_what_was_told(copy: Engine) -> None:
    """Empty the tables that rounds have filled. Who stopped messages is not told here either."""
    with writing(copy) as connection:
        for table in reversed(find_told_tables()):
            connection.execute(delete(table))


def find_told_tables() -> list[Table]:
    """Return the tables that rounds and readers fill, each after those that it refers to."""
    found: list[Table] = []
    for table in tables.metadata.sorted_tables:
        refers = any(key.column.table in found for key in table.foreign_keys)
        if refers or table in _WAS_TOLD:
            found.append(table)
    return found


def _play(
    copy: Engine, settings: Settings, days: Sequence[date], temporary: Path, progress: Progress
) -> list[Told]:
    quiet = settings.model_copy(update=_NOTHING_LEAVES)
    with reading(copy) as connection:
        offset = timedelta(minutes=fetch_blocks(connection)[0].utc_offset_min)
    (temporary / "told").mkdir(mode=0o700)  # it holds addresses
    told: list[Told] = []
    for count, day in enumerate(days, 1):
        morning = day + timedelta(days=1)
        of_day = quiet.model_copy(update={"data": temporary / "rounds" / morning.isoformat()})
        of_day.data.mkdir(parents=True)
        now = datetime.combine(morning, _MORNING, UTC) - offset
        report = run_round(copy, of_day, now, day)
        if report.delivery.sent:
            of_day.outbox.replace(temporary / "told" / morning.isoformat())
        of_morning = [_describe(one, morning) for one in report.delivery.sent]
        told += sorted(of_morning, key=lambda one: (one.recipient, one.file))
        progress(count / len(days))
    return told


def _describe(one: Sent, morning: date) -> Told:
    message = one.message
    is_mail = message.channel == "mail"
    mail = message_from_string(message.message, policy=default) if is_mail else None
    said = str(mail["Subject"]) if mail else message.message
    file = Path(morning.isoformat(), Path(one.receipt).name)
    return Told(morning, message.recipient_name, message.channel, message.address, said, str(file))


def _write_summary(path: Path, told: Sequence[Told]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(guard_cells(vars(one)) for one in told)
