"""The contract of proposing: what is found out about a file, how sure, and what reading it gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

FOUND, LIKELY, UNDECIDED, YOURS = "found", "likely", "undecided", "yours"
Certainty = Literal["found", "likely", "undecided", "yours"]


@dataclass(frozen=True)
class Finding:
    """One key of a layout.

    value : as the farm file writes it; where it is not found, what was taken for the trial, or None
    evidence : what in the file says so, or why nothing does
    certainty : "likely": to be confirmed by a person; "yours": nothing in the file decides it, and
        only who set up the logger knows
    """

    key: str
    value: Any
    evidence: str
    certainty: Certainty = FOUND


@dataclass(frozen=True)
class Trial:
    """What reading the whole file by the proposal gave; counts of readings.

    refused : why the file could not be read at all, or ""
    rejects : line and reason of the first few
    """

    kept: int = 0
    missing: int = 0
    rejected: int = 0
    refused: str = ""
    rejects: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class Proposal:
    """A layout for a file, in the order of the farm file's keys.

    remarks : what else was noticed
    trial : None where too little was found to read the file
    """

    findings: tuple[Finding, ...]
    remarks: tuple[str, ...]
    trial: Trial | None

    @property
    def is_decided(self) -> bool:
        """Whether all is found but what only a person can know, and the file reads so."""
        return (
            self.trial is not None
            and self.trial.kept > 0
            and all(finding.certainty != UNDECIDED for finding in self.findings)
        )
