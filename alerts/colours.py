"""The colours of everything that is read: ink and earth on paper, by day and by night."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours as "#rrggbb".

    Ink, clay, moss and slate are for text, edge is for what can be pressed or filled in, line for
    hairlines; straw shades what is open, behind ink.
    """

    paper: str
    ink: str
    line: str
    edge: str
    clay: str
    moss: str
    slate: str
    straw: str


DAY = Palette(
    paper="#f7f3ea",
    ink="#26241f",
    line="#cfc6b4",
    edge="#7d735f",
    clay="#9a4a24",
    moss="#4d6b3c",
    slate="#4a6378",
    straw="#d9b65a",
)
NIGHT = Palette(
    paper="#1d1c19",
    ink="#ece6d8",
    line="#4a463d",
    edge="#948a75",
    clay="#e0906a",
    moss="#a3c08f",
    slate="#9db4c8",
    straw="#5c4c22",
)
STRAW = DAY.straw
"""Shades what is open, on paper by day."""
