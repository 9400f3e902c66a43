"""Which probes serve a block, by where they have lain and by those that it declares."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from math import isnan, nan
from typing import Any

from service.store.block_records import Stretch

Basis = defaultdict[date, set[tuple[str, float]]]
"""The probes that a block declares, by logger and depth [cm], and from which day on."""


def find_stretches(row: Any) -> Iterator[Stretch]:
    """Yield a stretch and its end, which it has at the latest with the day its logger retires."""
    until = row.until
    if row.retired_at is not None:
        retired_on = (row.retired_at + timedelta(minutes=row.utc_offset_min)).date()
        until = min(until or date.max, retired_on + timedelta(days=1))
    if until is None or row.valid_from < until:
        yield Stretch(row.probe_id, row.valid_from, row.depth_cm)
    if until is not None and row.valid_from < until:
        yield Stretch(row.probe_id, until, nan)


def find_loggers_now(declared: Basis) -> set[str]:
    """Return the loggers of a block's latest basis; none where it has not declared one."""
    return {logger_id for logger_id, _ in declared[max(declared)]} if declared else set()


def find_serving(
    stretches: Mapping[str, Sequence[Stretch]], of_site: Collection[str], declared: Basis
) -> tuple[Stretch, ...]:
    """Return the stretches of the probes a block uses: all of its site, or the declared ones."""
    if not declared:
        serving = [stretch for logger_id in of_site for stretch in stretches[logger_id]]
    else:
        loggers = {logger_id for basis in declared.values() for logger_id, _ in basis}
        serving = [
            stretch
            for logger_id in loggers
            for _, of_probe in groupby(_by_probe(stretches[logger_id]), lambda one: one.probe_id)
            for stretch in _declared(logger_id, list(of_probe), declared)
        ]
    return tuple(_by_probe(serving))


def find_beside(
    stretches: Mapping[str, Sequence[Stretch]],
    of_site: Collection[str],
    serving: Iterable[Stretch],
) -> tuple[Stretch, ...]:
    """Return the stretches of the probes of a site that a block has never used."""
    used = {stretch.probe_id for stretch in serving if not isnan(stretch.depth_cm)}
    at_site = (stretch for logger_id in of_site for stretch in stretches[logger_id])
    return tuple(_by_probe(stretch for stretch in at_site if stretch.probe_id not in used))


def _declared(logger_id: str, of_probe: list[Stretch], declared: Basis) -> Iterator[Stretch]:
    """Yield the stretches of a probe, anew with each basis, without depth where it is in none."""
    first = of_probe[0].valid_from
    changes = [one.valid_from for one in of_probe] + [day for day in declared if day > first]
    for day in sorted(set(changes)):
        stretch = [one for one in of_probe if one.valid_from <= day][-1]
        basis = declared[max((start for start in declared if start <= day), default=day)]
        is_used = (logger_id, stretch.depth_cm) in basis
        yield Stretch(stretch.probe_id, day, stretch.depth_cm if is_used else nan)


def _by_probe(stretches: Iterable[Stretch]) -> list[Stretch]:
    return sorted(stretches, key=lambda one: (one.probe_id, one.valid_from))
