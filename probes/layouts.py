"""How a logger's files are laid out, as the farm file declares it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from probes.clock import Clock
from probes.units import Unit

BLANKS = "spaces"
"""The delimiter of cells that stand apart by runs of blanks, spaces or tabs."""

ALL_COLUMNS = "*"

LATEST_YEAR = 2068
"""Of years with two digits, unless the reader knows better: strptime takes 69 for 1969."""


@dataclass(frozen=True)
class Layout:
    """One `[layout.NAME]` of the farm file, already validated (service.farm does that).

    name : as in the farm file; error messages name it ("set clock = ... in layout.upper")
    clock : what the stamps show
    time : header(s) of the column(s) that make the stamp, joined by one space
    time_format : strptime format of the joined stamp, or a word of probes.time_words
    stamp : whether the stamp is the end or the start of the averaging interval, or an instant
    interval_min : minutes between readings
    unit : of every temperature cell
    columns : header of each depth column -> depth [cm]; in long form, text of the depth cell
    depth, value : headers of long form, a row for each depth; None: a row holds all the depths
    logger : header of the column that names the logger of a row; None: the file is of one
    missing : codes for "no reading"; a code that is a number also meets other spellings of it. By
        header of a depth column where it is a mapping, those of "*" for every column besides
    header : whether a line names the columns; without one their names are their numbers, from "1"
    skip : lines before the header; None: the header is the first line that holds all the columns;
        where there is none, lines before the rows, None for 0
    delimiter : one character, or "spaces"
    sheet : of a spreadsheet; None: its first
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
    depth: str | None = None
    value: str | None = None
    logger: str | None = None
    missing: tuple[str, ...] | Mapping[str, tuple[str, ...]] = ("",)
    header: bool = True
    skip: int | None = None
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    sheet: str | None = None
    order: Literal["time", "any"] = "time"

    @property
    def headers(self) -> tuple[str, ...]:
        """Every column that a file of it must have."""
        of_logger = () if self.logger is None else (self.logger,)
        if self.depth is None or self.value is None:
            return (*self.time, *of_logger, *self.columns)
        return (*self.time, *of_logger, self.depth, self.value)

    @property
    def is_long(self) -> bool:
        """Whether each depth has a row of its own."""
        return self.depth is not None

    @property
    def readings_in_row(self) -> int:
        """How many readings a row holds."""
        return 1 if self.is_long else len(self.columns)

    @property
    def stamp_to_end(self) -> np.timedelta64:
        """How long after its stamp the time of a reading lies."""
        late_min = self.interval_min if self.stamp == "start" else 0
        return np.timedelta64(round(late_min * 60e6), "us")

    def missing_in(self, channel: str) -> tuple[str, ...]:
        """Return the missing codes of a column."""
        if isinstance(self.missing, tuple):
            return self.missing
        return (*self.missing.get(channel, ()), *self.missing.get(ALL_COLUMNS, ()))
