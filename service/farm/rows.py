"""The tables of a farm as rows of the store, and back; lists stand in tables of their own."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from probes.clock import format_offset, parse_offset_min
from probes.clock_corrections import ClockCorrection
from service.farm.check_tables import CheckTable
from service.farm.layout_tables import LayoutTable
from service.farm.layouts import correction_entries, layout_spec, shortest_entries
from service.farm.logger_tables import Logger, ProbeEntry
from service.farm.models import (
    SCOPES,
    Block,
    FarmTable,
    Forecast,
    Organisation,
    Recipient,
    Site,
    Station,
    Thermometer,
    Use,
    probe_choice,
)
from service.farm.rule_tables import RuleTable
from service.farm.stations import FEED_KEYS, interval_min

Row = dict[str, Any]

NEVER_FETCHED: Row = {  # also of a station that was changed, or its layout: it may say more now
    "attempted_at": None,
    "fetched_at": None,
    "validators": {"since": None, "urls": {}},
    "failing_since": None,
    "failure": None,
}


def row_of(key: str, table: FarmTable) -> Row:
    """Return the row of a table of a farm as changes.as_stored gives it, without its lists."""
    lists = {"probes", *SCOPES, "clock_corrections", "silent_factor", "forecast"}
    row = table.model_dump(exclude=lists)
    match table:
        case Organisation():
            row["id"] = 1
        case Site():
            row["utc_offset_min"] = parse_offset_min(row.pop("utc_offset"))
            row["district_id"] = row.pop("district")
        case Block():
            row["root_zone_top_cm"], row["root_zone_bottom_cm"] = row.pop("root_zone_cm")
            row["site_id"] = row.pop("site")
        case LayoutTable():
            return {"name": key, "spec": layout_spec(table)}
        case RuleTable() | CheckTable():
            return {"name": key, "spec": table.model_dump(mode="json", exclude_none=True)}
        case Logger():
            row["site_id"], row["layout_name"] = row.pop("site"), row.pop("layout")
            row["kind"] = "files"
        case Station():
            return {
                "id": key,
                "kind": "station",
                "site_id": table.site,
                "layout_name": table.layout,
                "logger_id": key,
                "feed": table.feed,
                "spec": {
                    **table.model_dump(mode="json", exclude={"silent_factor"}),
                    "interval_min": interval_min(table),
                },
                **NEVER_FETCHED,
            }
        case Thermometer():
            row["site_id"], row["logger_id"], row["kind"] = row.pop("site"), key, "hand"
        case Recipient():
            row["all_blocks"] = not table.scope
    return row


def basis_rows(table: FarmTable) -> list[Row]:
    """Return the rows of a block's declared basis."""
    if not isinstance(table, Block):
        return []
    names = ("valid_from", "logger_id", "depth_cm")
    return [{"block_id": table.id, **dict(zip(names, use, strict=True))} for use in table.basis]


def scope_rows(table: FarmTable) -> list[Row]:
    """Return the rows of what a recipient names."""
    if not isinstance(table, Recipient):
        return []
    return [
        {"recipient_name": table.name, "kind": kind, "named": named} for kind, named in table.scope
    ]


def carry_rows(table: FarmTable) -> list[Row]:
    """Return the row that says that a block is carried down to its root zone, if it is."""
    if not isinstance(table, Block) or not table.carry:
        return []
    return [{"block_id": table.id, "diffusivity_mm2_s": table.diffusivity_mm2_s}]


def numbering_rows(table: FarmTable) -> list[Row]:
    """Return the row that says how the vines of a block are numbered, if it says so."""
    if not isinstance(table, Block) or not (table.rows_counted or table.first_vine):
        return []
    latitude, longitude = table.first_vine or (None, None)
    return [
        {
            "block_id": table.id,
            "rows_counted": table.rows_counted,
            "first_latitude": latitude,
            "first_longitude": longitude,
        }
    ]


def quiet_rows(table: FarmTable) -> list[Row]:
    """Return the row of a recipient's quiet hours, if there are any."""
    if not isinstance(table, Recipient) or table.quiet is None:
        return []
    begin, end = table.quiet
    return [{"recipient_name": table.name, "quiet_from": begin, "quiet_until": end}]


def borrow_rows(table: FarmTable) -> list[Row]:
    """Return the row of what a block says of borrowing, if it says anything."""
    if not isinstance(table, Block) or table.borrow is None:
        return []
    return [{"block_id": table.id, "borrows": table.borrow}]


def vine_rows(table: FarmTable) -> list[Row]:
    """Return the row of how many vines a block has, if that was counted."""
    if not isinstance(table, Block) or table.vines is None:
        return []
    return [{"block_id": table.id, "vines": table.vines}]


def forecast_rows(table: FarmTable) -> list[Row]:
    """Return the row that says where the air of a site is forecast, if it is."""
    if not isinstance(table, Site) or table.forecast is None:
        return []
    return [{"site_id": table.id, "spec": table.forecast.model_dump(mode="json")}]


def study_rows(table: FarmTable) -> list[Row]:
    """Return the row of a site that is for study only, if it is."""
    return [{"site_id": table.id}] if isinstance(table, Site) and table.study_only else []


def silence_rows(table: FarmTable) -> list[Row]:
    """Return the row that says how late a logger, a station or those of a site may be, if any."""
    match table:
        case Site(id=key, silent_factor=float(factor)):
            return [{"site_id": key, "silent_factor": factor}]
        case (
            Logger(id=key, silent_factor=float(factor))
            | Station(id=key, silent_factor=float(factor))
        ):
            return [{"logger_id": key, "silent_factor": factor}]
    return []


def _silent_factor(silence: Sequence[Sequence[Any]]) -> float | None:
    return silence[0][0] if silence else None


def _first_vine(numbered: Sequence[Sequence[Any]]) -> Any:
    places = [(latitude, longitude) for _, latitude, longitude in numbered if latitude is not None]
    return places[0] if places else None


def site_from_row(
    row: Row,
    silence: Sequence[Sequence[Any]],
    forecast: Sequence[Sequence[Any]],
    study_only: bool,
) -> Site:
    """Return a site, with its utc_offset."""
    utc_offset = format_offset(row.pop("utc_offset_min"))
    factor = _silent_factor(silence)
    return Site(
        utc_offset=utc_offset,
        district=row.pop("district_id"),
        study_only=study_only,
        silent_factor=factor,
        forecast=Forecast.model_validate_json(json.dumps(forecast[0][0])) if forecast else None,
        **row,
    )


def block_from_row(
    row: Row,
    basis: Sequence[Use],
    carried: Sequence[Sequence[Any]],
    borrows: Sequence[Sequence[Any]],
    vines: Sequence[Sequence[Any]],
    numbered: Sequence[Sequence[Any]],
) -> Block:
    """Return a block with its basis, which is empty for all probes of its site."""
    return Block(
        rows_counted=numbered[0][0] if numbered else None,
        first_vine=_first_vine(numbered),
        borrow=borrows[0][0] if borrows else None,
        vines=vines[0][0] if vines else None,
        carry=bool(carried),
        diffusivity_mm2_s=carried[0][0] if carried else None,
        root_zone_cm=(row.pop("root_zone_top_cm"), row.pop("root_zone_bottom_cm")),
        site=row.pop("site_id"),
        probes=tuple(probe_choice(*use) for use in basis) or None,
        **row,
    )


def logger_from_row(
    row: Row,
    layout: LayoutTable,
    history: Mapping[str, Sequence[ProbeEntry]],
    corrections: Sequence[ClockCorrection],
    silence: Sequence[Sequence[Any]],
) -> Logger:
    """Return a logger with the entries that its probes' stretches need beside the layout."""
    former = sorted(history.keys() - layout.columns.keys())
    names = [*(name for name in layout.columns if name in history), *former]
    entries = shortest_entries({name: tuple(history[name]) for name in names}, layout)
    return Logger(
        id=row["id"],
        site=row["site_id"],
        layout=row["layout_name"],
        probes=entries,
        clock_corrections=correction_entries(corrections, layout),
        silent_factor=_silent_factor(silence),
    )


def station_from_row(row: Row, silence: Sequence[Sequence[Any]]) -> Station:
    """Return a station; an interval that goes without saying is left out."""
    spec = dict(row["spec"])
    if spec["interval_min"] == FEED_KEYS[row["feed"]].interval_min:
        spec["interval_min"] = None
    spec["silent_factor"] = _silent_factor(silence)
    return Station.model_validate_json(json.dumps(spec))


def thermometer_from_row(row: Row, history: Mapping[str, Sequence[ProbeEntry]]) -> Thermometer:
    """Return a thermometer with the depths at which it is read."""
    every = (entry for entries in history.values() for entry in entries)
    depths_cm = sorted(entry.depth_cm for entry in every if entry.until is None)
    keys = ("id", "name", "unit", "hour_corrections_c", "error_c")
    of_row = {key: row[key] for key in keys}
    return Thermometer(site=row["site_id"], depths_cm=tuple(depths_cm), **of_row)


def recipient_from_row(
    row: Row, scope: Sequence[Sequence[str]], quiet: Sequence[Sequence[str]]
) -> Recipient:
    """Return a recipient with what they name; an address that older rules took is kept."""
    del row["all_blocks"]
    named = {kind: tuple(one for of, one in scope if of == kind) or None for kind in SCOPES}
    hours = tuple(quiet[0]) if quiet else None
    channels = tuple(row.pop("channels"))
    return Recipient.model_construct(**named, channels=channels, quiet=hours, **row)
