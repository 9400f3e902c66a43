"""What no table can know alone: references between tables, and what two of them disagree on."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping

from alerts.rules import GRAPE_PHYLLOXERA, RULES, find_faults
from probes.checks import CHECKS
from service.farm.check_tables import find_check_faults
from service.farm.layouts import find_corrections, probe_history
from service.farm.models import SCOPES, Farm
from service.farm.rule_tables import make_rules
from service.farm.stations import describe_unknown_depth, find_wrong_keys
from service.farm.text import one_of, table_label, table_title, value_text
from service.farm.values import probe_name, split_probe_name

BUILT_IN: Mapping[str, Collection[str]] = {"rule": RULES, "checks": CHECKS}


def find_contradictions(
    farm: Farm,
    broken: Mapping[str, Collection[str]],
    retired: Collection[str] | None = None,
) -> list[str]:
    """Return a line for each thing that does not fit.

    `broken` holds the keys of tables that are there, but with errors of their own: what refers to
    them is not at fault. `retired` holds LOGGER:DEPTH of retired loggers, which a block may have
    rested on before; None where only the store knows them.
    """
    names = _probe_names(farm)
    return [
        *_dead_references(farm, broken),
        *find_wrong_keys(farm),
        *_rule_faults(farm, broken),
        *_check_faults(farm),
        *_ids_that_stand_twice(farm),
        *_entries_of_other_columns(farm),
        *_unclear_corrections(farm),
        *_recipients_of_nothing(farm, broken),
        *_blocks_without_probes(farm, names),
        *_blocks_with_unknown_probes(farm, names, broken, retired),
    ]


def _references(farm: Farm) -> Iterator[tuple[str, str, str, str, str]]:
    """Give table, key of the table, key in it, table referred to, its key."""
    for site in farm.site.values():
        if site.district is not None:
            yield "site", site.id, "district", "district", site.district
        yield "site", site.id, "checks", "checks", site.checks
    for block in farm.block.values():
        yield "block", block.id, "site", "site", block.site
        yield "block", block.id, "rule", "rule", block.rule
    for name, rule in farm.rule.items():
        yield "rule", name, "based_on", "rule", rule.based_on
    for logger in farm.logger.values():
        yield "logger", logger.id, "site", "site", logger.site
        yield "logger", logger.id, "layout", "layout", logger.layout
    for station in farm.station.values():
        yield "station", station.id, "site", "site", station.site
        if station.layout is not None:
            yield "station", station.id, "layout", "layout", station.layout
    for thermometer in farm.thermometer.values():
        yield "thermometer", thermometer.id, "site", "site", thermometer.site
    for recipient in farm.recipient.values():
        for kind, named in recipient.scope:
            yield "recipient", recipient.name, kind, kind.removesuffix("s"), named


def _dead_references(farm: Farm, broken: Mapping[str, Collection[str]]) -> Iterator[str]:
    for kind, key, field, target, name in _references(farm):
        known = {*farm.tables(target), *broken.get(target, ()), *BUILT_IN.get(target, ())}
        if name not in known:
            sign = "holds" if field in SCOPES else "="
            remedy = f"write {one_of(known, name)}" if known else "the file has none yet; add it"
            yield (
                f"{table_label(kind, key)}: {field} {sign} {value_text(name)}: "
                f"no such {table_title(target)}; {remedy}"
            )


def find_told_blocks(farm: Farm) -> dict[str, set[str]]:
    """Return, by name of the recipients that name anything, the ids of the blocks that comes to."""
    of_place: dict[tuple[str, str | None], set[str]] = defaultdict(set)
    for block in farm.block.values():
        site = farm.site.get(block.site)
        places = ("blocks", block.id), ("sites", block.site), ("districts", site and site.district)
        for place in places:
            of_place[place].add(block.id)
    return {
        one.name: {block_id for place in one.scope for block_id in of_place.get(place, ())}
        for one in farm.recipient.values()
        if one.scope
    }


def _recipients_of_nothing(farm: Farm, broken: Mapping[str, Collection[str]]) -> Iterator[str]:
    if any(broken.get(kind) for kind in ("block", "site", "district")):
        return
    for name, block_ids in find_told_blocks(farm).items():
        one = farm.recipient[name]
        known = all(named in farm.tables(kind.removesuffix("s")) for kind, named in one.scope)
        if known and not block_ids:
            keys = " and ".join(dict.fromkeys(kind for kind, _ in one.scope))
            yield (
                f"{table_label('recipient', one.name)}: no block lies in its {keys}, so nothing "
                "would be told; name others, or leave them out for all blocks"
            )


def _rule_faults(farm: Farm, broken: Mapping[str, Collection[str]]) -> Iterator[str]:
    rules = make_rules(farm.rule)
    for name, table in farm.rule.items():
        label = table_label("rule", name)
        if name in RULES:
            yield f"{label}: this rule set is built in; give yours another name"
        elif name in rules:
            yield from (f"{label}: {fault}" for fault in find_faults(rules[name]))
        elif table.based_on in farm.rule and not broken.get("rule"):
            yield (
                f"{label}: based_on = {value_text(table.based_on)} leads back to itself; "
                f"base one of them on {value_text(GRAPE_PHYLLOXERA.name)}"
            )


def _check_faults(farm: Farm) -> Iterator[str]:
    for name, table in farm.checks.items():
        label = table_label("checks", name)
        if name in CHECKS:
            yield f"{label}: these checks are built in; give yours another name"
        yield from (f"{label}: {fault}" for fault in find_check_faults(table))


def _ids_that_stand_twice(farm: Farm) -> Iterator[str]:
    """What brings readings is named in one way: a block says "ID:DEPTH", whatever the kind."""
    for key in farm.thermometer:
        for other in ("logger", "station"):
            if key in farm.tables(other):
                label = table_label("thermometer", key)
                yield f"{label}: a {other} has this id too; give each its own"


def _entries_of_other_columns(farm: Farm) -> Iterator[str]:
    for logger in farm.logger.values():
        if logger.layout not in farm.layout:
            continue
        layout = farm.layout[logger.layout]
        for column, stretches in probe_history(logger, layout).items():
            if column not in layout.columns and stretches[-1].until is None:
                yield (
                    f"{table_label('logger', logger.id)}: probes, column = "
                    f"{value_text(column)}: no such column in "
                    f"{table_label('layout', logger.layout)}; "
                    f"write {one_of(layout.columns, column)}, or until when it was there"
                )


def _unclear_corrections(farm: Farm) -> Iterator[str]:
    for logger in farm.logger.values():
        if logger.layout not in farm.layout:
            continue
        try:
            find_corrections(logger, farm.layout[logger.layout])
        except ValueError as error:
            yield f"{table_label('logger', logger.id)}: clock_corrections: {error}"


def _probe_names(farm: Farm) -> Mapping[str, list[str]]:
    """Return by site LOGGER:DEPTH of all its probes, whenever they lay there."""
    names: dict[str, list[str]] = defaultdict(list)
    for logger in farm.logger.values():
        if logger.layout in farm.layout:
            history = probe_history(logger, farm.layout[logger.layout])
            depths_cm = {entry.depth_cm for column in history.values() for entry in column}
            names[logger.site] += [probe_name(logger.id, depth) for depth in sorted(depths_cm)]
    for one in farm.thermometer.values():
        names[one.site] += [probe_name(one.id, depth) for depth in sorted(one.depths_cm)]
    return names


def _blocks_without_probes(farm: Farm, names: Mapping[str, list[str]]) -> Iterator[str]:
    blocks = Counter(block.site for block in farm.block.values())
    for block in farm.block.values():
        is_unclear = names[block.site] and blocks[block.site] > 1
        if block.probes is None and not block.borrow and is_unclear:
            yield (
                f"{table_label('block', block.id)}: probes is missing, and site "
                f"{value_text(block.site)} has {blocks[block.site]} blocks; write probes = "
                f"{value_text(names[block.site])}, or those of them that serve it; where none "
                "does, borrow = true"
            )


def _blocks_with_unknown_probes(
    farm: Farm,
    names: Mapping[str, list[str]],
    broken: Mapping[str, Collection[str]],
    retired: Collection[str] | None,
) -> Iterator[str]:
    for block in farm.block.values():
        of_site = names[block.site]
        now = max((valid_from for valid_from, _, _ in block.basis), default=None)
        for valid_from, name, depth_cm in block.basis:
            probe = probe_name(name, depth_cm)
            is_gone = valid_from != now and name not in {**farm.logger, **farm.station}
            if is_gone and (retired is None or probe in retired):
                continue
            if name in farm.station:
                unknown = describe_unknown_depth(
                    block.id, farm.station[name], depth_cm, farm.layout
                )
                if unknown:
                    yield unknown
            elif probe not in of_site and not _rests_on_broken(farm, broken, probe):
                remedy = "add a [[logger]] or [[thermometer]]"
                if of_site:
                    remedy = f"write {one_of(of_site, probe)}"
                if name in farm.logger:
                    remedy = (
                        f"{remedy}, or say in the probes of that logger until when it was there"
                    )
                yield (
                    f"{table_label('block', block.id)}: probes holds {value_text(probe)}: "
                    f"no such probe at site {value_text(block.site)}; {remedy}"
                )


def _rests_on_broken(farm: Farm, broken: Mapping[str, Collection[str]], probe: str) -> bool:
    logger, _ = split_probe_name(probe)
    if any(logger in broken.get(kind, ()) for kind in ("logger", "station", "thermometer")):
        return True
    return logger in farm.logger and farm.logger[logger].layout not in farm.layout
