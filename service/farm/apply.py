"""Put a farm into the store: what it says is written, what it leaves out is reported or retired."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, or_, select, update

from service.daily_means import refresh_daily_means
from service.farm.changes import Change, as_stored, find_changes, with_missing
from service.farm.export import farm_from_store, fetch_histories
from service.farm.layouts import (
    end_history,
    find_corrections,
    probe_history,
    thermometer_history,
)
from service.farm.logger_tables import ProbeEntry
from service.farm.models import TABLES, Farm
from service.farm.problems import FarmFileError
from service.farm.references import find_contradictions, find_told_blocks
from service.farm.rows import (
    NEVER_FETCHED,
    basis_rows,
    borrow_rows,
    carry_rows,
    forecast_rows,
    numbering_rows,
    quiet_rows,
    row_of,
    scope_rows,
    silence_rows,
    study_rows,
    vine_rows,
)
from service.farm.text import table_label
from service.farm.values import probe_name
from service.flags import refresh_flags
from service.store import tables
from service.store.among import among
from service.store.changes import count_change
from service.store.clocks import fetch_clock_corrections, replace_clock_corrections
from service.store.loggers import Logger, fetch_logger
from service.store.outbox import let_quiet_go

History = Mapping[str, Mapping[str, tuple[ProbeEntry, ...]]]
"""By logger and column."""

WRITTEN = ("added", "changed", "returned")
WITH_READINGS = ("logger", "station", "thermometer")


def apply_farm(connection: Connection, farm: Farm, now: datetime, retire: bool) -> list[Change]:
    """Bring the store to what a farm says, and return what became of each table.

    FarmFileError where the farm does not fit what it leaves out and the store holds active.
    """
    active = farm_from_store(connection)
    former = _find_former(connection, now)
    farm = as_stored(_with_former(farm, former), now.year)
    changes = find_changes(farm, active, farm_from_store(connection, retired=True), retire=retire)
    whole = farm if retire else _with_former(with_missing(farm, active), former)
    _refuse_contradictions(connection, whole, changes)
    _refuse_taken_ids(connection, changes)
    before = [
        fetch_logger(connection, key, lock=True)
        for key in connection.scalars(select(tables.logger.c.id).order_by(tables.logger.c.id))
    ]
    _write_rows(connection, farm, changes)
    _write_lists(connection, farm, changes)
    _write_told_blocks(connection, whole)
    let_quiet_go(connection, [c.key for c in changes if c.table == "recipient"])
    _ask_anew(connection, changes)
    _retire(connection, changes, now)
    _write_histories(connection, whole, former)
    _write_corrections(connection, whole)
    for logger in before:
        now_is = fetch_logger(connection, logger.id)
        if _flag_basis(now_is) != _flag_basis(logger):
            refresh_flags(connection, now_is)
        elif _daily_basis(now_is) != _daily_basis(logger):
            refresh_daily_means(connection, now_is)
        else:
            continue
        count_change(connection, logger.id)
    return changes


def _with_former(farm: Farm, former: History) -> Farm:
    """Return a farm whose loggers go on naming the columns that have left their layouts.

    What these measured counts up to the day on which they left; it is as if they had never been
    where they measured nothing.
    """
    loggers = {}
    for key, one in farm.logger.items():
        named = {*farm.layout[one.layout].columns, *(entry.column for entry in one.probes)}
        entries = [
            entry
            for column, stretches in former.get(key, {}).items()
            if column not in named
            for entry in stretches
        ]
        loggers[key] = one.model_copy(update={"probes": (*one.probes, *entries)})
    return replace(farm, logger=loggers)


def _find_former(connection: Connection, now: datetime) -> History:
    """Return the stretches that each column with readings has if it is there no more."""
    has_any = or_(
        *(
            select(table.c.probe_id).where(table.c.probe_id == tables.probe.c.id).exists()
            for table in (tables.reading, tables.daily_mean)  # or only means are left of them
        )
    )
    query = (
        select(tables.probe.c.logger_id, tables.probe.c.channel, tables.site.c.utc_offset_min)
        .join(tables.logger, tables.logger.c.id == tables.probe.c.logger_id)
        .join(tables.site, tables.site.c.id == tables.logger.c.site_id)
        .where(has_any)
    )
    histories = fetch_histories(connection)
    former: dict[str, dict[str, tuple[ProbeEntry, ...]]] = defaultdict(dict)
    for logger_id, channel, utc_offset_min in connection.execute(query):
        tomorrow = (now + timedelta(days=1, minutes=utc_offset_min)).date()
        former[logger_id][channel] = end_history(histories[logger_id][channel], tomorrow)
    return former


def _refuse_contradictions(connection: Connection, whole: Farm, changes: list[Change]) -> None:
    ever = {
        probe_name(logger_id, entry.depth_cm)
        for logger_id, history in fetch_histories(connection).items()
        for entries in history.values()
        for entry in entries
    }
    problems = find_contradictions(whole, {}, ever)
    missing = [table_label(c.table, c.key) for c in changes if c.what == "missing"]
    if problems and missing:
        problems.append(
            f"left out of the file and still active: {', '.join(missing)}; "
            "put back what is needed, or retire it with --retire"
        )
    if problems:
        raise FarmFileError(problems)


def _refuse_taken_ids(connection: Connection, changes: list[Change]) -> None:
    """Refuse what is new and called as something retired of another kind that has readings."""
    taken = set(connection.scalars(select(tables.logger.c.id)))
    problems = [
        f"{table_label(c.table, c.key)}: a retired {' or '.join(WITH_READINGS)} has this id; "
        "write another"
        for c in changes
        if c.what == "added" and c.table in WITH_READINGS and c.key in taken
    ]
    if problems:
        raise FarmFileError(problems)


def _flag_basis(logger: Logger) -> tuple[Any, ...]:
    """Return all that a logger's flags depend on, its readings aside."""
    checks = logger.checks
    return logger.utc_offset_min, checks.tests, checks.thresholds, logger.probes


def _daily_basis(logger: Logger) -> tuple[Any, ...]:
    """Return what its daily means depend on besides."""
    return logger.use_suspect, logger.interval_min, logger.by_hand


def _tables_of(kind: str) -> tuple[Table, ...]:
    """Return the tables that hold a kind, what others refer to first: what reads is a logger."""
    if kind == "station":
        return tables.logger, tables.station, tables.feed_state
    if kind == "thermometer":
        return tables.logger, tables.hand_thermometer
    return (tables.metadata.tables[kind],)


def _write_rows(connection: Connection, farm: Farm, changes: list[Change]) -> None:
    # in this order no row refers to one that is not there yet
    for kind, table in [(one, table) for one in TABLES for table in _tables_of(one)]:
        key_column = table.primary_key.columns[0]
        new = []
        for change in changes:
            if change.table != kind or change.what not in WRITTEN:
                continue
            row = row_of(change.key, farm.tables(kind)[change.key])
            row = {name: value for name, value in row.items() if name in table.c}
            if change.what == "added":
                new.append(row)
                continue
            if "retired_at" in table.c:
                row["retired_at"] = None
            connection.execute(update(table).where(key_column == row[key_column.name]).values(row))
        if new:
            connection.execute(insert(table), new)


def _write_lists(connection: Connection, farm: Farm, changes: list[Change]) -> None:
    for kind, table, rows_of in (
        ("block", tables.block_probe, basis_rows),
        ("block", tables.block_borrow, borrow_rows),
        ("block", tables.block_carry, carry_rows),
        ("block", tables.block_vines, vine_rows),
        ("block", tables.block_numbering, numbering_rows),
        ("recipient", tables.recipient_scope, scope_rows),
        ("site", tables.site_forecast, forecast_rows),
        ("site", tables.site_for_study, study_rows),
        ("recipient", tables.recipient_quiet, quiet_rows),
        ("site", tables.site_silence, silence_rows),
        ("logger", tables.logger_silence, silence_rows),
        ("station", tables.logger_silence, silence_rows),
    ):
        keys = [c.key for c in changes if c.table == kind and c.what in WRITTEN]
        owner = table.primary_key.columns[0]
        connection.execute(delete(table).where(among(owner, keys)))
        members = [row for key in keys for row in rows_of(farm.tables(kind)[key])]
        if members:
            connection.execute(insert(table), members)


def _write_told_blocks(connection: Connection, farm: Farm) -> None:
    """Keep which blocks come of what each recipient names: a site may have one more now."""
    table = tables.recipient_block
    stored: dict[str, set[str]] = defaultdict(set)
    for name, block_id in connection.execute(select(table)):
        stored[name].add(block_id)
    told = find_told_blocks(farm)
    for name in farm.recipient:
        block_ids = told.get(name, set())
        if block_ids != stored[name]:
            connection.execute(delete(table).where(table.c.recipient_name == name))
            rows = [{"recipient_name": name, "block_id": one} for one in sorted(block_ids)]
            if rows:
                connection.execute(insert(table), rows)


def _ask_anew(connection: Connection, changes: list[Change]) -> None:
    """Let stations whose layout has changed be fetched from the first day on.

    What the old one rejected would lie before the days that are asked for again each time.
    """
    layouts = [c.key for c in changes if c.table == "layout" and c.what == "changed"]
    of_layouts = select(tables.logger.c.id).where(among(tables.logger.c.layout_name, layouts))
    state = tables.feed_state
    connection.execute(update(state).where(state.c.logger_id.in_(of_layouts)).values(NEVER_FETCHED))


def _retire(connection: Connection, changes: list[Change], now: datetime) -> None:
    for change in changes:
        if change.what == "retired":
            table, *_ = _tables_of(change.table)
            of_key = table.primary_key.columns[0] == change.key
            connection.execute(update(table).where(of_key).values(retired_at=now))


def _write_histories(connection: Connection, farm: Farm, former: History) -> None:
    """Give every column its probe, and every probe of these loggers its stretches."""
    histories = {
        **{one.id: probe_history(one, farm.layout[one.layout]) for one in farm.logger.values()},
        **{
            one.id: {**former.get(one.id, {}), **thermometer_history(one)}
            for one in farm.thermometer.values()
        },
    }
    wanted = {
        (logger, column): stretches
        for logger, history in histories.items()
        for column, stretches in history.items()
    }
    known = _fetch_probe_ids(connection)
    new = [{"logger_id": key[0], "channel": key[1]} for key in wanted if key not in known]
    if new:
        connection.execute(insert(tables.probe), new)
    stored = fetch_histories(connection)
    stale, rows = [], []
    for (logger, column), probe_id in _fetch_probe_ids(connection).items():
        # a column that left its layout without a reading loses its stretches: it never was
        stretches = wanted.get((logger, column), ())
        if logger in histories and stretches != tuple(stored[logger][column]):
            stale.append(probe_id)
            rows += [
                {"probe_id": probe_id, **entry.model_dump(exclude={"column"})}
                for entry in stretches
            ]
    if stale:
        of_stale = among(tables.probe_stretch.c.probe_id, stale)
        connection.execute(delete(tables.probe_stretch).where(of_stale))
    if rows:
        connection.execute(insert(tables.probe_stretch), rows)


def _write_corrections(connection: Connection, farm: Farm) -> None:
    for logger in farm.logger.values():
        corrections = find_corrections(logger, farm.layout[logger.layout])
        if corrections != fetch_clock_corrections(connection, logger.id):
            replace_clock_corrections(connection, logger.id, corrections)


def _fetch_probe_ids(connection: Connection) -> dict[tuple[str, str], int]:
    query = select(tables.probe.c.logger_id, tables.probe.c.channel, tables.probe.c.id)
    return {(logger, channel): probe_id for logger, channel, probe_id in connection.execute(query)}
