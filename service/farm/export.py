"""The store as a farm, and a farm as the text of a farm file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, select

from service.farm import rows
from service.farm.check_tables import CheckTable
from service.farm.layout_tables import LayoutTable
from service.farm.logger_tables import ProbeEntry
from service.farm.models import TABLES, District, Farm, FarmTable, Organisation
from service.farm.rule_tables import RuleTable
from service.farm.text import NAMED, pair_text, table_label, table_title
from service.store import tables
from service.store.clocks import fetch_clock_corrections


def farm_from_store(connection: Connection, *, retired: bool = False) -> Farm:
    """Return what is active in the store, or what is retired, each table sorted by key."""

    def fetch(table: Table, *more: Table, kind: str | None = None) -> dict[str, rows.Row]:
        gone = table.c.retired_at.is_not(None)
        columns = [column for column in table.columns if column.name != "retired_at"]
        query = select(*columns, *more).where(gone if retired else ~gone)
        if kind is not None:
            query = query.where(table.c.kind == kind)
        for other in more:
            query = query.join(other)
        found = [dict(row) for row in connection.execute(query).mappings()]
        key = table.primary_key.columns[0].name
        return {row[key]: row for row in sorted(found, key=lambda row: row[key])}

    name = None if retired else connection.scalar(select(tables.organisation.c.name))
    every_layout = select(tables.layout.c.name, tables.layout.c.spec)
    layouts = {
        row.name: LayoutTable.model_validate(row.spec) for row in connection.execute(every_layout)
    }
    probes = _fetch_lists(connection, tables.block_probe)
    carried = _fetch_lists(connection, tables.block_carry)
    borrows = _fetch_lists(connection, tables.block_borrow)
    vines = _fetch_lists(connection, tables.block_vines)
    numbered = _fetch_lists(connection, tables.block_numbering)
    scopes = _fetch_lists(connection, tables.recipient_scope)
    quiet = _fetch_lists(connection, tables.recipient_quiet)
    silences = _fetch_lists(connection, tables.logger_silence)
    of_sites = _fetch_lists(connection, tables.site_silence)
    forecasts = _fetch_lists(connection, tables.site_forecast)
    for_study = _fetch_lists(connection, tables.site_for_study)
    histories = fetch_histories(connection)
    return Farm(
        organisation=None if name is None else Organisation(name=name),
        district={key: District(**row) for key, row in fetch(tables.district).items()},
        site={
            key: rows.site_from_row(row, of_sites[key], forecasts[key], key in for_study)
            for key, row in fetch(tables.site).items()
        },
        checks={
            key: CheckTable.model_validate(row["spec"]) for key, row in fetch(tables.checks).items()
        },
        rule={
            key: RuleTable.model_validate(row["spec"]) for key, row in fetch(tables.rule).items()
        },
        block={
            key: rows.block_from_row(
                row, probes[key], carried[key], borrows[key], vines[key], numbered[key]
            )
            for key, row in fetch(tables.block).items()
        },
        layout={key: layouts[key] for key in fetch(tables.layout)},
        logger={
            key: rows.logger_from_row(
                row,
                layouts[row["layout_name"]],
                histories[key],
                fetch_clock_corrections(connection, key),
                silences[key],
            )
            for key, row in fetch(tables.logger, kind="files").items()
        },
        station={
            key: rows.station_from_row(row, silences[key])
            for key, row in fetch(tables.logger, tables.station, kind="station").items()
        },
        thermometer={
            key: rows.thermometer_from_row(row, histories[key])
            for key, row in fetch(tables.logger, tables.hand_thermometer, kind="hand").items()
        },
        recipient={
            key: rows.recipient_from_row(row, scopes[key], quiet[key])
            for key, row in fetch(tables.recipient).items()
        },
    )


def _fetch_lists(connection: Connection, table: Table) -> Mapping[str, list[Any]]:
    """Return, by a table's first column, what its other columns hold, in order."""
    lists: dict[str, list[Any]] = defaultdict(list)
    for owner, *member in connection.execute(select(table)):
        lists[owner].append(member)
    for members in lists.values():
        members.sort()
    return lists


def fetch_histories(connection: Connection) -> Mapping[str, Mapping[str, list[ProbeEntry]]]:
    """Return the stretches of each column of each logger, by day."""
    histories: dict[str, dict[str, list[ProbeEntry]]] = defaultdict(lambda: defaultdict(list))
    for row in connection.execute(
        select(tables.probe.c.logger_id, tables.probe.c.channel, tables.probe_stretch)
        .join(tables.probe_stretch)
        .order_by(tables.probe_stretch.c.valid_from)
    ):
        entry = ProbeEntry(
            column=row.channel,
            depth_cm=row.depth_cm,
            valid_from=row.valid_from,
            until=row.until,
            calibration_offset_c=row.calibration_offset_c,
        )
        histories[row.logger_id][row.channel].append(entry)
    return histories


def farm_text(farm: Farm) -> str:
    """Return a farm file that says this; keys at their defaults are left out."""
    return "\n".join(
        _table_text(table_label(kind, key) if kind in NAMED else table_title(kind), table)
        for kind in TABLES
        for key, table in farm.tables(kind).items()
    )


def _table_text(title: str, table: FarmTable) -> str:
    pairs = table.model_dump(exclude_defaults=True, by_alias=True)
    if len(pairs.get("time", ())) == 1:
        (pairs["time"],) = pairs["time"]
    return "".join(f"{line}\n" for line in [title, *(pair_text(*pair) for pair in pairs.items())])
