"""What an operator should know of a running Digseason: what is fine, and what wants a look."""

from __future__ import annotations

import shutil
import sqlite3
import stat
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

from sqlalchemy import Connection, Engine, func, select, text

from alerts.root_zone import is_shallow
from service.channels.choosing import CHANNELS, describe_channels, is_real
from service.settings import Settings
from service.showing import count_text
from service.store import tables
from service.store.alarms import fetch_alarms
from service.store.backup_notes import fetch_last_backup
from service.store.blocks import Block, fetch_blocks
from service.store.channel_troubles import HEARTBEAT, fetch_troubles
from service.store.engine import reading
from service.store.forecasts import fetch_forecast_sites
from service.store.frozen import describe_frozen, fetch_frozen
from service.store.holds import fetch_hold
from service.store.outbox import count_late, fetch_waiting
from service.store.round_lease import fetch_lease
from service.store.rounds import fetch_first_round_at, fetch_last_kept_at, fetch_last_round_at
from service.store.schema import find_revision
from service.store.shared_clock import fetch_clock
from service.store.silences import fetch_silences
from service.store.stations import fetch_stations
from service.store.undelivered import fetch_suspensions

LATE_ROUND = timedelta(hours=26)  # a day's end comes every 24, and each site has its own
LONG_ROUND = timedelta(hours=1)
LATE_MESSAGE = timedelta(hours=1)
RECENTLY = timedelta(days=14)
CLOCK_SLACK = timedelta(minutes=2)
LEAST_FREE_BYTES = 1_000_000_000


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at.

    remedy : what to do; None where nothing is to be done
    """

    what: str
    said: str
    remedy: str | None = None


def check_service(engine: Engine, settings: Settings, now: datetime) -> list[Finding]:
    """Return what was found, in the order in which it matters; nothing is changed."""
    damage = _find_damage(engine)
    if damage is not None:
        return [damage]  # nothing else that the store says is to be trusted
    with reading(engine) as connection:
        blocks = fetch_blocks(connection)
        return [
            _check_pages(connection),
            Finding("schema", f"at {find_revision(connection)}, up to date"),
            *_check_disks(connection, settings),
            _check_folder(settings),
            _check_clock(connection, now),
            _check_round(connection, now),
            *_check_lease(connection),
            *_check_frozen(connection),
            *_check_feeds(connection),
            _check_loggers(connection),
            *_check_basis(blocks),
            *_check_borrowing(blocks),
            *_check_outbox(connection, now),
            *_check_channels(connection, settings),
            *_check_bounces(settings),
            _check_backup(connection, settings, now),
            *_check_operator(connection, settings),
            *_check_heartbeat(connection, settings),
        ]


def find_alarms(connection: Connection, settings: Settings, now: datetime) -> list[Finding]:
    """Return what an operator is to hear of without asking; each is found fast."""
    found = (
        *_check_disks(connection, settings),
        _check_round(connection, now),
        *_check_lease(connection),
        _check_waiting(connection, now),
        _check_backup(connection, settings, now),
    )
    return [one for one in found if one.remedy]


def _find_damage(engine: Engine) -> Finding | None:
    """Return what is wrong with a SQLite file; outside a transaction, which would not end."""
    if engine.dialect.name != "sqlite":
        return None
    with closing(engine.raw_connection()) as connection:
        try:
            faults = [fault for (fault,) in connection.cursor().execute("pragma quick_check(3)")]
        except sqlite3.DatabaseError as error:
            faults = [str(error)]
    if faults == ["ok"]:
        return None
    remedy = "Stop Digseason, keep this file, and restore the last backup into a new folder."
    return Finding("integrity", f"the store is damaged: {'; '.join(faults)}", remedy)


def _check_pages(connection: Connection) -> Finding:
    if connection.dialect.name == "sqlite":
        return Finding("integrity", "every page of the store can be read")
    if connection.scalar(text("show data_checksums")) == "on":
        return Finding("integrity", "the server keeps checksums of its pages")
    major = connection.execute(text("show server_version_num")).scalar_one()[:-4]
    told = connection.scalar(text("select setting from pg_settings where name = 'data_directory'"))
    folder = told or f"/var/lib/postgresql/{major}/main"  # not told to all; Debian's
    remedy = (
        f"Stop the server, run `/usr/lib/postgresql/{major}/bin/pg_checksums --enable -D {folder}` "
        "as postgres, and start it; the README says how in containers."
    )
    return Finding("integrity", "the server keeps no checksums of its pages", remedy)


def _check_disks(connection: Connection, settings: Settings) -> Iterator[Finding]:
    """Look where the data folder lies, and where the last backup does as far as that is seen."""
    aside = "" if connection.dialect.name == "sqlite" else "; PostgreSQL's own disk is not seen"
    remedy = "Make room: without it imports and rounds will fail."
    yield _check_disk("disk", settings.data, settings.store_file, remedy, aside)
    last = fetch_last_backup(connection)
    if last and last.path:
        with suppress(OSError):  # it lies on another machine, or on a disk that is away
            remedy = "Make room: without it no backup can be made."
            yield _check_disk("backup disk", last.path.parent, last.path, remedy)


def _check_disk(what: str, folder: Path, file: Path, remedy: str, aside: str = "") -> Finding:
    """Say how much is free beside a file: there is to be as much as it takes."""
    free_bytes = shutil.disk_usage(folder).free
    own_bytes = file.stat().st_size if file.exists() else 0
    said = f"{free_bytes / 1e9:,.1f} GB free where {folder} lies{aside}"
    return Finding(what, said, remedy if free_bytes < max(LEAST_FREE_BYTES, own_bytes) else None)


def _check_folder(settings: Settings) -> Finding:
    mode = settings.data.stat().st_mode
    if mode & (stat.S_IRWXG | stat.S_IRWXO):
        said = "other users of this machine may look into the data folder, addresses in it"
        return Finding("folder", said, f"Run `chmod -R go= {settings.data}`.")
    return Finding("folder", "only its owner may look into it")


def _check_clock(connection: Connection, now: datetime) -> Finding:
    ahead = (fetch_last_kept_at(connection) or now) - now
    if ahead <= CLOCK_SLACK:
        return Finding("clock", f"{now:%Y-%m-%d %H:%M} UTC, later than all that is kept")
    said = f"{now:%Y-%m-%d %H:%M} UTC, yet something was kept {_length(ahead)} later than that"
    return Finding("clock", said, "Set this machine's clock, and let it follow a time server.")


def _check_round(connection: Connection, now: datetime) -> Finding:
    last_at = fetch_last_round_at(connection)
    remedy = "Keep `digseason serve` running, or start `digseason round` every day."
    if last_at is None:
        return Finding("round", "there has been none, not counting any with --as-of", remedy)
    said = f"the last one {_length(now - last_at)} ago"
    return Finding("round", said, remedy if now - last_at > LATE_ROUND else None)


def _check_lease(connection: Connection) -> Iterator[Finding]:
    """Say who runs a round now; and where that has died, or takes too long, what to do."""
    lease = fetch_lease(connection)
    if lease is None:
        return
    now = fetch_clock(connection)
    said, remedy = f"process {lease.process} on {lease.host} runs a round", None
    if lease.lapses_at < now:
        said = f"process {lease.process} on {lease.host} died in a round"
        remedy = "Run `digseason round`, or let `digseason serve` do so: it takes over."
    elif now - lease.since > LONG_ROUND:
        remedy = f"See what keeps it; it may be stopped on {lease.host} at any time."
    yield Finding("running", f"{said}, begun {_length(now - lease.since)} ago", remedy)


def _check_frozen(connection: Connection) -> Iterator[Finding]:
    before = fetch_frozen(connection)
    if before is not None:
        yield Finding("readings", describe_frozen(before))


def _check_feeds(connection: Connection) -> Iterator[Finding]:
    stations = fetch_stations(connection)
    failing = [station for station in stations if station.failing_since is not None]
    for station in failing:
        said = f"{station.id}: failing since {station.failing_since:%Y-%m-%d}: {station.failure}"
        yield Finding("feed", said, f"Try `digseason fetch --station {station.id}`.")
    for one in fetch_forecast_sites(connection):
        if one.failing_since is not None:
            said = f"{one.site_id}: failing since {one.failing_since:%Y-%m-%d}: {one.failure}"
            yield Finding("forecast", said, "Outlooks go on without it. Try `digseason fetch`.")
    if stations and not failing:
        yield Finding("feeds", f"{len(stations)}, and none fails")


def _check_loggers(connection: Connection) -> Finding:
    silences = fetch_silences(connection)
    silent = sorted(name for name, of_logger in silences.items() if of_logger)
    if not silent:
        return Finding("loggers", "none is known to be silent")
    remedy = "`digseason loggers` says since when; look at battery, cable and link, or empty them."
    return Finding("loggers", f"silent, in part or whole: {', '.join(silent)}", remedy)


def _check_basis(blocks: Sequence[Block]) -> Iterator[Finding]:
    """Name the blocks that are told a depth's warmth as their root zone's."""
    shallow = [
        block.id
        for block in blocks
        if block.ground is None
        and is_shallow([probe.depth_cm for probe in block.in_use], block.root_zone_cm[1])
    ]
    if shallow:
        said = f"probes lie too shallow, so spring is told too early: {', '.join(shallow)}"
        remedy = "Bury a deeper probe, or set carry = true in the [[block]] (`digseason soil`)."
        yield Finding("depth", said, remedy)


def _check_borrowing(blocks: Sequence[Block]) -> Iterator[Finding]:
    """Say how many blocks have no probes and borrow, and name those with nobody to borrow from."""
    unprobed = [block for block in blocks if not block.is_probed]
    borrowing = [block for block in unprobed if block.lenders]
    if borrowing:
        said = f"from neighbours by {count_text(len(borrowing), 'block')} without probes"
        yield Finding("borrowed", f"{said} (`digseason neighbours`)")
    alone = [block.id for block in unprobed if not block.in_use and not block.lenders]
    if alone:
        said = f"no probes, and no neighbour to borrow from: {', '.join(alone)}"
        remedy = "Bury a probe, read a [[thermometer]], or name a [[station]] of a public feed."
        yield Finding("borrowed", said, remedy)


def _check_outbox(connection: Connection, now: datetime) -> Iterator[Finding]:
    hold = fetch_hold(connection)
    if hold:
        said = f"held since {hold.since:%Y-%m-%d %H:%M} UTC: {hold.why}"
        yield Finding(
            "sending", said, "`digseason outbox release` lets messages go, or drops them."
        )
    yield _check_waiting(connection, now)
    outbox = tables.outbox.c
    gone = outbox.ended.in_(("refused", "given up", "bounced")), outbox.ended_at > now - RECENTLY
    lost = connection.scalar(select(func.count()).select_from(tables.outbox).where(*gone)) or 0
    if lost:
        said = f"{count_text(lost, 'message')} of the last {RECENTLY.days} days did not arrive"
        yield Finding("undelivered", said, "`digseason outbox` says why of each.")
    for one in fetch_suspensions(connection).values():
        said = f"nothing goes to {one.recipient_name}, {one.address}: {one.why}"
        remedy = f"Correct it in the farm file, or run `digseason outbox resume {one.address}`."
        yield Finding("address", said, remedy)


def _check_waiting(connection: Connection, now: datetime) -> Finding:
    """Say how many messages wait, and how many of them for no reason of their reader's."""
    waiting, late = fetch_waiting(connection).count, count_late(connection, now - LATE_MESSAGE)
    waits = f"{count_text(waiting, 'message')} wait{'s' * (waiting == 1)}"
    remedy = "`digseason outbox` says why, and what can be done with each."
    said = f"{waits}, {late:,} of them for more than an hour"
    return Finding("outbox", said, remedy if late else None)


def _check_channels(connection: Connection, settings: Settings) -> Iterator[Finding]:
    """Say by which way messages leave; that no one gets them is a fault where someone should."""
    recipient, troubles = tables.recipient.c, fetch_troubles(connection)
    readers = connection.scalars(select(recipient.channels).where(recipient.retired_at.is_(None)))
    counts = Counter(channel for channels in readers for channel in channels)
    for channel, way, setting in zip(
        CHANNELS,
        describe_channels(settings),
        ("SMTP_HOST", "SMS_URL or DIGSEASON_SMS_MAIL_TO"),
        strict=True,
    ):
        remedy = None
        if channel in troubles:
            trouble = troubles[channel]
            way += f"; not since {trouble.since:%Y-%m-%d %H:%M} UTC: {trouble.failure}"
            remedy = "`digseason send-test --to ADDRESS` tries it."
        elif counts[channel] and not is_real(channel, settings):
            remedy = f"Set DIGSEASON_{setting}, then try `digseason send-test`."
        yield Finding(channel, way, remedy)


def _check_bounces(settings: Settings) -> Iterator[Finding]:
    if settings.bounces is None and settings.bounces_secret.get_secret_value():
        yield Finding("bounces", "a mail server brings them to /api/bounces")
    elif settings.bounces is None and settings.smtp_host:
        yield Finding("bounces", "no one reads what comes back: DIGSEASON_BOUNCES is not set")
    elif settings.bounces and not settings.bounces.exists():
        said = f"there is no {settings.bounces}"
        yield Finding("bounces", said, "Set DIGSEASON_BOUNCES to the folder they come into.")
    elif settings.bounces:
        yield Finding("bounces", f"read from {settings.bounces}")


def _check_backup(connection: Connection, settings: Settings, now: datetime) -> Finding:
    last = fetch_last_backup(connection)
    if last:
        since, said = last.made_at, f"the last one {_length(now - last.made_at)} ago"
    else:
        since = fetch_first_round_at(connection) or now
        said = "none made by `digseason backup` is known"
    remedy = (
        "Run `digseason backup FILE`, and have it run each night; set DIGSEASON_BACKUP_DAYS=0 "
        "where backups are made by other means."
    )
    is_old = 0 < settings.backup_days < (now - since) / timedelta(days=1)
    return Finding("backup", said, remedy if is_old else None)


def _check_operator(connection: Connection, settings: Settings) -> Iterator[Finding]:
    """Say whether someone hears of what is wrong without asking."""
    if not settings.operator:
        yield Finding("operator", "no one is told of a late round: DIGSEASON_OPERATOR is not set")
        return
    failures = [one.failure for one in fetch_alarms(connection) if one.failure]
    if failures:
        said = f"{settings.operator} could not be told what is wrong: {failures[0]}"
        yield Finding("operator", said, "`digseason send-test --to ADDRESS` tries it.")
    elif not settings.smtp_host:
        said = f"{settings.operator} is told of a late round by mails that are files"
        yield Finding("operator", said, "Set DIGSEASON_SMTP_HOST, then try `digseason send-test`.")
    else:
        yield Finding("operator", f"{settings.operator} is told of a late round")


def _check_heartbeat(connection: Connection, settings: Settings) -> Iterator[Finding]:
    trouble = fetch_troubles(connection).get(HEARTBEAT)
    if not settings.heartbeat_url:
        yield Finding("heartbeat", "no one misses it: DIGSEASON_HEARTBEAT_URL is not set")
    elif trouble is None:
        host = urlsplit(settings.heartbeat_url).hostname
        yield Finding("heartbeat", f"{host} is asked while all is well")
    else:
        said = f"not since {trouble.since:%Y-%m-%d %H:%M} UTC: {trouble.failure}"
        yield Finding("heartbeat", said, "Check whether DIGSEASON_HEARTBEAT_URL still works.")


def _length(span: timedelta) -> str:
    hours = span / timedelta(hours=1)
    return f"{span.days} days" if hours >= 48 else f"{hours:.1f} hours"
