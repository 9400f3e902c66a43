"""The colours of everything that is read: ink and earth on paper, by day and by night."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours as "#rrggbb". Ink and clay are for text, line for hairlines, edge for outlines."""

    paper: str
    ink: str
    line: str
    edge: str
    clay: str


DAY = Palette(paper="#f7f3ea", ink="#26241f", line="#cfc6b4", edge="#7d735f", clay="#9a4a24")
NIGHT = Palette(paper="#1d1c19", ink="#ece6d8", line="#4a463d", edge="#948a75", clay="#e0906a")
STRAW = "#d9b65a"
"""Shades what is open, on paper by day."""
