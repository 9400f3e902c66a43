"""The colours of everything that is read: ink and earth on paper, by day and by night."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours as "#rrggbb". Ink and clay are for text, line is for hairlines."""

    paper: str
    ink: str
    line: str
    clay: str


DAY = Palette(paper="#f7f3ea", ink="#26241f", line="#cfc6b4", clay="#9a4a24")
NIGHT = Palette(paper="#1d1c19", ink="#ece6d8", line="#4a463d", clay="#e0906a")
STRAW = "#d9b65a"
"""Shades what is open, on paper by day."""
