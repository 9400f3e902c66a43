"""How a logger's files are laid out, as the farm file declares it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from probes.clock import Clock
from probes.units import Unit


@dataclass(frozen=True)
class Layout:
    """One `[layout.NAME]` of the farm file, already validated (service.farm does that).

    name : as in the farm file; error messages name it ("set clock = ... in layout.upper")
    clock : what the stamps show
    time : header(s) of the column(s) that make the stamp, joined by one space
    time_format : strptime format of the joined stamp
    stamp : whether the stamp is the end or the start of the averaging interval, or an instant
    interval_min : minutes between readings
    unit : of every temperature cell
    columns : header of each depth column -> depth [cm]
    missing : codes for "no reading"; a code that is a number also meets other spellings of it
    skip : lines before the header; None: the header is the first line that holds all the columns
    order : "time": rows run one way in time and a row that steps back is rejected;
        "any": rows stand in no order
    """

    name: str
    clock: Clock
    time: tuple[str, ...]
    time_format: str
    stamp: Literal["end", "start", "instant"]
    interval_min: float
    unit: Unit
    columns: Mapping[str, float]
    missing: tuple[str, ...] = ("",)
    skip: int | None = None
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    order: Literal["time", "any"] = "time"
