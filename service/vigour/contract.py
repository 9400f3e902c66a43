"""What a file of vigour gives, whichever its form."""

from __future__ import annotations

from dataclasses import dataclass, field

from alerts.dig.vigour import Vigour
from probes.frames import Reject


@dataclass(frozen=True, eq=False)
class VigourFile:
    """What a file holds: the vigour, what was measured, and what of it does not count."""

    vigour: Vigour
    measure: str
    read: int
    missing: int
    rejects: list[Reject] = field(default_factory=list)
