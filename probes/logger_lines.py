"""Logger files, first stage: bytes -> lines."""

from __future__ import annotations

import codecs
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

BLOCK_BYTES = 1 << 20
BLOCK_LINES = 1 << 15
"""Lines of a few characters cost many times their bytes, whatever is said of them."""

MAX_LINES = 8_000_000
"""Fifteen years of minutes."""

SHOWN_CHARACTERS = 200


class FileRefused(ValueError):  # noqa: N818 - it is the file that is refused
    """A whole file that cannot be read; the message says which, what is wrong and what to do."""


@dataclass(frozen=True)
class Block:
    """Some consecutive lines of a file; `cut` where the file ends within the last of them."""

    first_line: int
    lines: list[str]
    cut: bool

    def after(self, line: int) -> Block:
        """Return the part of the block that follows a line of it."""
        lines = self.lines[line + 1 - self.first_line :]
        return Block(line + 1, lines, self.cut and bool(lines))


class Bytes(Protocol):
    """What lines are read from."""

    def read(self, size: int, /) -> bytes:
        """Return the next bytes, none at the end."""
        ...

    def close(self) -> None:
        """Give the file back."""
        ...


def read_blocks(
    stream: Bytes,
    file_name: str,
    encoding: str,
    progress: Callable[[int], None] | None = None,
) -> Iterator[Block]:
    """Yield a file's lines without their ends, a megabyte at most at a time.

    Parameters
    ----------
    stream : Bytes
        The unpacked file.
    file_name : str
        For the messages.
    encoding : str
        Bytes that mean nothing in it become U+FFFD and spoil only the cell they stand in.
    progress : callable, optional
        Told the bytes done.

    Leading byte order marks are dropped, and NULs before a line's text: a logger that lost power
    leaves them, and the record behind them is whole.

    Raises
    ------
    FileRefused
        When there is no such encoding, a line is longer than a block, or there are too many.
    """
    try:
        decode = codecs.getincrementaldecoder(encoding)("replace")
    except LookupError:
        raise FileRefused(
            f'{file_name}: "{encoding}" is no encoding; write for example encoding = "utf-8" '
            'or "cp1252"'
        ) from None
    # str.splitlines would also end lines at form feeds and at U+0085, a "..." read as latin-1.
    decoder = io.IncrementalNewlineDecoder(decode, translate=True)
    first_line, rest, bytes_done = 1, "", 0
    data = stream.read(BLOCK_BYTES)
    while data:
        bytes_done += len(data)
        ahead = stream.read(BLOCK_BYTES)
        try:
            text = rest + decoder.decode(data, final=not ahead)
        except UnicodeError as error:
            raise FileRefused(f"{file_name}: {error}; correct encoding in its layout") from None
        if first_line == 1:
            text = text.lstrip("\ufeff")
        lines = text.split("\n")
        rest = lines.pop()
        if len(rest) > BLOCK_BYTES:
            raise FileRefused(
                f"{file_name}: line {first_line + len(lines)} does not end within "
                f"{BLOCK_BYTES:,} characters; give a text file in {encoding}"
            )
        cut = bool(rest) and not ahead
        if cut:
            lines.append(rest)
        if "\0" in text:
            lines = [line.lstrip("\0") or line for line in lines]
        if first_line + len(lines) > MAX_LINES:
            raise FileRefused(
                f"{file_name}: more than {MAX_LINES:,} lines; cut it into files of fewer"
            )
        for begin in range(0, len(lines), BLOCK_LINES):
            part = lines[begin : begin + BLOCK_LINES]
            yield Block(first_line, part, cut and begin + BLOCK_LINES >= len(lines))
            first_line += len(part)
        if progress is not None:
            progress(bytes_done)
        data = ahead


def shown(text: str) -> str:
    """Return text as a reject shows it: short, and without NULs, which PostgreSQL refuses, or
    other characters that a terminal obeys or does not show.
    """
    begin = text[:SHOWN_CHARACTERS]
    if not begin.isprintable():
        begin = "".join(
            letter if letter.isprintable() or letter == "\t" else _mark(letter) for letter in begin
        )
    return begin if len(text) <= SHOWN_CHARACTERS else begin + "..."


def _mark(letter: str) -> str:
    """Return what stands for a character that is not to be printed."""
    code = ord(letter)
    return chr(0x2400 + code) if code < 0x20 else "\N{REPLACEMENT CHARACTER}"
