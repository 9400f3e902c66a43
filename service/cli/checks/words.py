"""What the commands on checks share: probes by depth, flags and times in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import isnan

import click
from sqlalchemy import Connection

from probes.frames import FAIL, GOOD, MISSING, NOT_EVALUATED, SUSPECT
from service.store.loggers import Logger, Probe, UnknownLoggerError, fetch_logger

FLAGS = {
    GOOD: "good",
    NOT_EVALUATED: "not evaluated",
    SUSPECT: "suspect",
    FAIL: "fail",
    MISSING: "missing",
}


def need_logger(connection: Connection, logger_id: str, lock: bool = False) -> Logger:
    """Return a logger, or refuse the option."""
    try:
        return fetch_logger(connection, logger_id, lock)
    except UnknownLoggerError as error:
        raise click.BadParameter(str(error), param_hint="--logger") from None


def find_probes(logger: Logger, depth_cm: float | None) -> Sequence[Probe]:
    """Return the probes that lie or lay at a depth, or all."""
    depths_cm = {
        probe: {stretch.depth_cm for stretch in probe.stretches} for probe in logger.probes
    }
    found = [probe for probe in logger.probes if depth_cm is None or depth_cm in depths_cm[probe]]
    if not found:
        known = ", ".join(f"{known_cm:g}" for known_cm in sorted(set().union(*depths_cm.values())))
        raise click.BadParameter(
            f"{logger.id} has no probe at {depth_cm:g} cm; there are: {known or 'none'}",
            param_hint="--depth",
        )
    return found


def depth_text(depth_cm: float) -> str:
    """Return a depth; a dash where it is not known."""
    return "-" if isnan(depth_cm) else f"{depth_cm:g}"


def instant_text(instant: datetime | None) -> str | None:
    """Return an instant as RFC 3339 has it."""
    return instant and f"{instant:%Y-%m-%dT%H:%M:%SZ}"
