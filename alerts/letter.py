"""A letter: what a mail says, in parts that are written out as plain text and as HTML."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

from alerts.events import Event
from alerts.lines import bullets, underline, wrap


@dataclass(frozen=True)
class Picture:
    """A picture within a letter, and what it shows in words.

    png : twice as wide and high as it is shown
    """

    png: bytes
    alt: str
    file_name: str

    @property
    def content_id(self) -> str:
        """What the HTML calls it by, "left@right": the same for the same picture."""
        return f"{sha256(self.png).hexdigest()[:32]}@digseason.invalid"

    @property
    def size_px(self) -> tuple[int, int]:
        """Its width and height as shown."""
        width, height = struct.unpack(">II", self.png[16:24])  # of a PNG's first chunk
        return width // 2, height // 2


@dataclass(frozen=True)
class Entry:
    """A block, a logger or the like: its name and what there is to say of it.

    ribbon : its season as a line of characters, each as wide as the next
    """

    name: str
    paragraphs: tuple[str, ...]
    ribbon: str = ""
    picture: Picture | None = None


@dataclass(frozen=True)
class Part:
    """Entries, paragraphs or items of a list under one title; None: under none."""

    title: str | None = None
    entries: tuple[Entry, ...] = ()
    paragraphs: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


@dataclass(frozen=True)
class Link:
    """A page on the web, and what it is for."""

    words: str
    url: str


@dataclass(frozen=True)
class Letter:
    """A letter; the subject alone is right.

    source : who it is for and by whom, and what it rests on
    links : what its reader can do about it
    events : what its reader may put into a calendar
    """

    subject: str
    language: str
    parts: tuple[Part, ...]
    source: str
    links: tuple[Link, ...] = ()
    events: tuple[Event, ...] = ()

    @property
    def answer(self) -> str:
        """Its first line: the subject as a sentence."""
        return f"{self.subject}."

    @property
    def pictures(self) -> list[Picture]:
        """All its pictures, in order."""
        entries = (entry for part in self.parts for entry in part.entries)
        return [entry.picture for entry in entries if entry.picture]

    @property
    def text(self) -> str:
        """The letter as plain text, in lines of at most 72 columns."""
        parts = [text for part in self.parts for text in _write_part(part)]
        links = [f"{wrap(f'{link.words}:')}\n{link.url}" for link in self.links]
        return "\n\n".join([wrap(self.answer), *parts, wrap(self.source), *links]) + "\n"


def _write_part(part: Part) -> Iterator[str]:
    if part.items:
        yield bullets(part.title or "", part.items)
    elif part.title:
        yield underline(part.title)
    for entry in part.entries:
        ribbon = [f"  {entry.ribbon}"] if entry.ribbon else []
        paragraphs = [wrap(text, "  ") for text in entry.paragraphs]
        yield "\n".join([wrap(entry.name), *paragraphs, *ribbon])
    yield from map(wrap, part.paragraphs)
