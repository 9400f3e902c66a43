"""Pieces of an unknown file as lines: its head, its middle and its tail, in their encoding."""

from __future__ import annotations

import re
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from probes.clock import parse_clock
from probes.layouts import Layout
from probes.logger_lines import FileRefused
from probes.unpacking import Packing, find_packing, open_unpacked

SAMPLE_BYTES = 64 * 1024
"""Of each piece: a month of hours, quick to look at from all sides."""

UNKNOWN = Layout(
    name="new",
    clock=parse_clock("UTC"),
    time=(),
    time_format="",
    stamp="end",
    interval_min=60,
    unit="C",
    columns={},
)


@dataclass(frozen=True)
class Samples:
    """Pieces of a file; no line of them is cut, and the first piece begins with line 1."""

    packing: Packing
    encoding: str
    encoding_evidence: str
    pieces: tuple[list[str], ...]


def read_samples(path: Path, sheet: str | None = None) -> Samples:
    """Return pieces of a file, unpacked; all of it where it is small.

    Parameters
    ----------
    path : Path
    sheet : str, optional
        Of a spreadsheet.

    Raises
    ------
    FileRefused
        When it is empty or packed badly.
    """
    packing = find_packing(path)
    with closing(open_unpacked(path, replace(UNKNOWN, sheet=sheet), packing)) as stream:
        head = stream.read(SAMPLE_BYTES)
        chunks, middle, number = [head], b"", 1
        while chunk := stream.read(SAMPLE_BYTES):
            if number & (number - 1) == 0:  # the last power of two lies in the second half
                middle = chunk
            chunks = [*chunks[-1:], chunk]
            number += 1
    if not head:
        raise FileRefused(f"{path.name}: the file is empty; export it again")
    if number <= 3:
        pieces = [head + b"".join(chunks[1 - number :] if number > 1 else [])]
    else:
        pieces = [head, middle, b"".join(chunks)]
    encoding, evidence = find_encoding(pieces)
    by_name = {"utf-16": "utf-16-be" if head.startswith(b"\xfe\xff") else "utf-16-le"}
    texts = [piece.decode(by_name.get(encoding, encoding), "replace") for piece in pieces]
    lines = [_split(text) for text in texts]
    if len(lines) > 1:
        lines = [lines[0][:-1], lines[1][1:-1], lines[2][1:]]
    return Samples(packing, encoding, evidence, tuple(lines))


def find_encoding(pieces: list[bytes]) -> tuple[str, str]:
    """Return the encoding of a file, as the farm file names it, and what speaks for it."""
    head, everything = pieces[0], b"".join(pieces)
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8", "a byte order mark"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", "a byte order mark"
    even, odd = (everything[start::2].count(0) * 2 / len(everything) for start in (0, 1))
    if max(even, odd) > 0.8 and min(even, odd) < 0.1:
        return ("utf-16-le" if odd > even else "utf-16-be"), "every other byte is a NUL"
    if everything.isascii():
        return "utf-8", "plain ASCII"
    # The ends of pieces may cut a letter in two.
    cuts = [piece.partition(b"\n")[2].rpartition(b"\n")[0] for piece in pieces[1:]]
    try:
        b"\n".join([head.rpartition(b"\n")[0] or head, *cuts]).decode("utf-8")
    except UnicodeDecodeError as error:
        byte = error.object[error.start]
        for degree, encoding in ((0xF8, "cp850"), (0xA1, "mac-roman")):
            if byte == degree and re.match(rb".\s?[CF]\b", error.object[error.start :]):
                return encoding, f"byte {degree:#x} before C or F is its degree sign"
        return "cp1252", f"not UTF-8 at byte {byte:#x}; look whether its letters come out right"
    return "utf-8", "all of it is UTF-8"


def _split(text: str) -> list[str]:
    lines = text.lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if not lines[-1]:
        lines.pop()
    return [line.lstrip("\0") or line for line in lines]
