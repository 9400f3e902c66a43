"""The state of a block in words, and the texture that a picture gives it."""

from __future__ import annotations

from typing import Literal

from alerts.states import State
from alerts.words import translations

Texture = Literal["open", "warming", "hot", "resting", "closed", "not known"]

TEXTURES: dict[State, Texture] = {
    "open": "open",
    "warming": "warming",
    "too hot": "hot",
    "resting": "resting",
    "spring start not seen": "resting",
    "too cold": "closed",
    "paused by cold": "closed",
    "done for the season": "closed",
    "no basis": "not known",
    "no recent readings": "not known",
}
"""Each state's texture; the word says the rest."""


def show_state(state: State, language: str) -> str:
    """Return "open", "resting", "done for the season" in the reader's language."""
    _ = translations(language).gettext
    words: dict[State, str] = {
        "open": _("open"),
        "warming": _("warming"),
        "too hot": _("too hot"),
        "resting": _("resting"),
        "spring start not seen": _("spring start not seen"),
        "too cold": _("too cold"),
        "paused by cold": _("paused by cold"),
        "done for the season": _("done for the season"),
        "no basis": _("no probe"),
        "no recent readings": _("no recent readings"),
    }
    return words[state]


def name_texture(texture: Texture, language: str) -> str:
    """Return what a texture stands for."""
    _ = translations(language).gettext
    names: dict[Texture, str] = {
        "open": _("open"),
        "warming": _("warming"),
        "hot": _("too hot"),
        "resting": _("resting"),
        "closed": _("closed"),
        "not known": _("not known"),
    }
    return names[texture]
