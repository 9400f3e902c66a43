"""What digging at one vine showed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

Vine = tuple[int, int]
"""Its row, and its number in the row."""


class Roots(StrEnum):
    """What the roots were like."""

    FINE = "fine"
    """Live fine roots were in the hole, on which the insect feeds."""
    COARSE = "coarse"
    """Live roots, none of them fine."""
    NONE = "none"
    """No live roots: nothing to feed on, so nothing to conclude from what is not seen."""


class Swellings(StrEnum):
    """Swellings of the roots: pale ones are fresh, dark ones old."""

    NONE = "none"
    PALE = "pale"
    DARK = "dark"
    BOTH = "both"


class Insects(StrEnum):
    """Insects seen on the roots, and roughly how many."""

    NONE = "none"
    FEW = "few"
    """Up to ten."""
    SOME = "some"
    """Up to a hundred."""
    MANY = "many"


class Specimen(StrEnum):
    """A specimen for a specialist, and what came of it."""

    NOT_TAKEN = "not taken"
    SENT = "sent"
    CONFIRMED = "confirmed"
    ANOTHER = "another"
    """It was something else."""


class Outcome(StrEnum):
    """What a dig comes to."""

    FOUND = "found"
    """A specialist confirmed the specimen."""
    SUSPECTED = "suspected"
    """Insects or swellings were seen; no specialist has spoken."""
    NOT_FOUND = "not found"
    NO_LIVE_ROOTS = "no live roots"
    """Neither the one nor the other, and no negative."""


@dataclass(frozen=True)
class DigRecord:
    """What digging at one vine showed.

    record_id : made where it was written down (a UUID), so that what is sent twice is kept once
    depth_cm : how deep was dug; None: not noted
    dead_roots : whether dead roots were in the hole too
    by_lot : whether the vine was drawn by lot over its block; else it was chosen
    mark : what was left on the vine, so that it is found again
    latitude, longitude : degrees, WGS 84; None: not noted
    """

    record_id: str
    block_id: str
    vine: Vine
    dug_on: date
    person: str
    roots: Roots
    dead_roots: bool = False
    swellings: Swellings = Swellings.NONE
    insects: Insects = Insects.NONE
    specimen: Specimen = Specimen.NOT_TAKEN
    by_lot: bool = False
    depth_cm: float | None = None
    mark: str = ""
    note: str = ""
    latitude: float | None = field(default=None, repr=False)
    longitude: float | None = field(default=None, repr=False)

    @property
    def outcome(self) -> Outcome:
        """What the specialist said counts first, then what was seen, then what could be seen."""
        if self.specimen is Specimen.CONFIRMED:
            return Outcome.FOUND
        seen = self.insects is not Insects.NONE or self.swellings is not Swellings.NONE
        if self.specimen is Specimen.SENT or (seen and self.specimen is not Specimen.ANOTHER):
            return Outcome.SUSPECTED
        return Outcome.NO_LIVE_ROOTS if self.roots is Roots.NONE else Outcome.NOT_FOUND
