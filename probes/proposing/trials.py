"""A whole file, read by what was found of its layout; what is open is assumed, for the trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from probes.clock import Clock, parse_clock
from probes.frames import LoggerFile
from probes.layouts import Layout
from probes.logger_files import FileRefused, read_logger_file
from probes.proposing.proposal import Finding, Trial
from probes.proposing.samples import UNKNOWN

REJECTS_TOLD = 5
LOGGERS_TRIED = 20
_ASSUMED = {"clock": "UTC", "stamp": "end", "unit": "C"}
_NEEDED = {"time", "time_format", "columns"}


@dataclass(frozen=True)
class TrialReading:
    """How a file is tried.

    logger_ids : whose rows are read; None: all
    """

    path: Path
    layout: Layout
    logger_ids: Sequence[str | None]
    latest_year: int
    _read: dict[tuple[Clock, str | None], LoggerFile] = field(default_factory=dict)

    def read(self, clock: Clock, logger_id: str | None = None) -> LoggerFile:
        """Return the rows of a logger, by default the first, once read by each clock.

        Raises
        ------
        FileRefused
        """
        key = clock, logger_id or self.logger_ids[0]
        if key not in self._read:
            layout = replace(self.layout, clock=clock)
            self._read[key] = read_logger_file(
                self.path, layout, logger_id=key[1], latest_year=self.latest_year
            )
        return self._read[key]

    def try_by(self, clock: Clock) -> Trial:
        """Return what reading by a clock gives."""
        trial = Trial()
        for logger_id in self.logger_ids[:LOGGERS_TRIED]:
            try:
                file = self.read(clock, logger_id)
            except FileRefused as error:
                return Trial(refused=str(error).removeprefix(f"{self.path.name}: "))
            rejects = (*trial.rejects, *((each.line, each.reason) for each in file.rejects))
            trial = Trial(
                kept=trial.kept + int(np.isfinite(file.soil_temp_c).sum()),
                missing=trial.missing + file.missing,
                rejected=trial.rejected + sum(reject.readings for reject in file.rejects),
                rejects=rejects[:REJECTS_TOLD],
            )
        return trial


def start_trial(
    path: Path, findings: Sequence[Finding], logger_ids: Sequence[str | None], latest_year: int
) -> TrialReading | None:
    """Return how a file is tried by some findings; None where they are too few to read it."""
    found: dict[str, Any] = {each.key: each.value for each in findings if each.value is not None}
    if not found.keys() >= _NEEDED:
        return None
    return TrialReading(path, trial_layout(found), logger_ids, latest_year)


def trial_layout(found: Mapping[str, Any]) -> Layout:
    """Return the layout of some keys and values, what they leave open taken as for a trial."""
    values = {**_ASSUMED, **found}
    values["clock"] = parse_clock(values["clock"])
    time, missing = values["time"], values.get("missing", [""])
    values["time"] = (time,) if isinstance(time, str) else tuple(time)
    values["missing"] = (
        {column: tuple(codes) for column, codes in missing.items()}
        if isinstance(missing, dict)
        else tuple(missing)
    )
    return replace(UNKNOWN, **values)
