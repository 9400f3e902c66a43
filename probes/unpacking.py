"""Packed logger files: gzip, zip with one text in it, spreadsheets; all bounded, none trusted.

What a file is says its first bytes, never its name.
"""

from __future__ import annotations

import gzip
import io
import lzma
import zipfile
import zlib
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Literal

from probes.layouts import Layout
from probes.logger_lines import Bytes, FileRefused
from probes.sheet_parts import check_parts
from probes.spreadsheets import read_sheet

Packing = Literal["plain", "gzip", "zip", "spreadsheet"]

MAX_PACKED_BYTES = 100 * 2**20
"""A spreadsheet of a million rows has about 50 MB."""

MAX_EXPANDED_BYTES = 512 * 2**20
"""Ten years of minutes at five depths have about 300 MB."""

MAX_RATIO = 200
"""Readings pack about 10 to 1, a stuck logger's 100 to 1; a bomb of deflate 1,000 to 1."""

RATIO_FROM_BYTES = 2**20
"""Less does no harm, whatever its ratio."""

MAX_ENTRIES = 1000
"""A spreadsheet has about ten entries, an archive to be read one text."""

TEXT_ENDINGS = (".csv", ".txt", ".tsv", ".tab", ".dat", ".log", ".asc")

_GZIP, _ZIP, _ZIP_ENTRY, _OLD_OFFICE = b"\x1f\x8b", b"PK\3\4", b"PK\1\2", b"\xd0\xcf\x11\xe0"
_OTHER_PACKINGS = {
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"7z\xbc\xaf": "7-Zip",
    b"Rar!": "RAR",
    b"\x28\xb5\x2f\xfd": "Zstandard",
}
_BROKEN = (
    *(OSError, EOFError, ValueError, RuntimeError),
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError),
)
_PACKED_TWICE = "holds a packed file again; unpack it once"


def find_packing(path: Path) -> Packing:
    """Return how a file is packed.

    Raises
    ------
    FileRefused
        When it is packed in a way that is not read, or is too large for a packed file.
    """
    with path.open("rb") as stream:
        magic = stream.read(5)
    if magic.startswith(_OLD_OFFICE):
        raise FileRefused(f"{path.name}: an old spreadsheet; save it as .xlsx or as .csv")
    for begin, name in _OTHER_PACKINGS.items():
        if magic.startswith(begin):
            raise FileRefused(
                f"{path.name}: packed by {name}; unpack it, or pack it as .gz or .zip"
            )
    if not magic.startswith((_GZIP, _ZIP)):
        return "plain"
    size = path.stat().st_size
    if size > MAX_PACKED_BYTES:
        raise FileRefused(
            f"{path.name}: {size:,} packed bytes, more than {MAX_PACKED_BYTES:,}; unpack it first"
        )
    if magic.startswith(_GZIP):
        return "gzip"
    names = [entry.filename for entry in _entries(path)]
    if "xl/workbook.xml" not in names:
        return "zip"
    try:
        check_parts(path)
    except _BROKEN as error:
        raise _damaged(path, error) from None
    return "spreadsheet"


def layout_unpacked(layout: Layout, packing: Packing) -> Layout:
    """Return the layout of what `open_unpacked` gives: a spreadsheet comes apart by tabs."""
    if packing == "spreadsheet":
        return replace(layout, delimiter="\t", encoding="utf-8")
    return layout


def open_unpacked(path: Path, layout: Layout, packing: Packing) -> Bytes:
    """Return the bytes of a file as its logger wrote them; a spreadsheet's as lines of text.

    Raises
    ------
    FileRefused
        When it is damaged, locked, packed twice, or larger than the bounds, then or on reading.
    """
    if packing == "plain":
        return path.open("rb")
    try:
        if packing == "spreadsheet":
            max_bytes = min(MAX_EXPANDED_BYTES, _most_by_ratio(path.stat().st_size))
            return io.BytesIO(read_sheet(path, layout, max_bytes))
        stream = gzip.GzipFile(path) if packing == "gzip" else _open_member(path)
        try:
            magic = stream.read(4)
            stream.seek(0)
            if magic.startswith((_GZIP, _ZIP)):
                raise FileRefused(f"{path.name}: {_PACKED_TWICE}")
        except BaseException:
            stream.close()
            raise
    except FileRefused:
        raise
    except _BROKEN as error:
        raise _damaged(path, error) from None
    return _Bounded(stream, path)


class _Bounded:
    """A stream that ends in a refusal where it expands beyond the bounds."""

    def __init__(self, stream: BinaryIO | gzip.GzipFile, path: Path) -> None:
        self._stream, self._path = stream, path
        self._packed_bytes, self._bytes_done = path.stat().st_size, 0

    def read(self, size: int) -> bytes:
        try:
            data = self._stream.read(size)
        except _BROKEN as error:
            raise _damaged(self._path, error) from None
        self._bytes_done += len(data)
        _check_expanded(self._path, self._bytes_done, self._packed_bytes)
        return data

    def close(self) -> None:
        self._stream.close()


def _entries(path: Path) -> list[zipfile.ZipInfo]:
    # Counted in the bytes: the list that says how many there are is what a bomb would lie about.
    if path.read_bytes().count(_ZIP_ENTRY) > MAX_ENTRIES:
        raise FileRefused(f"{path.name}: more than {MAX_ENTRIES:,} entries; unpack it first")
    try:
        with zipfile.ZipFile(path) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    except _BROKEN as error:
        raise _damaged(path, error) from None
    # A member never yields more than it declares, so the declared sizes bound what is read.
    _check_expanded(path, sum(entry.file_size for entry in entries), path.stat().st_size)
    return entries


def _open_member(path: Path) -> BinaryIO:
    """Open the one member of an archive, or the one text in it."""
    # Names that begin with a dot: notes of the system that packed it.
    names = [e.filename for e in _entries(path) if not Path(e.filename).name.startswith(".")]
    texts = [name for name in names if name.lower().endswith(TEXT_ENDINGS)]
    name = names[0] if len(names) == 1 else texts[0] if len(texts) == 1 else None
    if name is None:
        raise FileRefused(
            f"{path.name}: {len(names)} files in it, {len(texts)} of them named as text; "
            f"unpack it, and give each on its own"
        )
    with zipfile.ZipFile(path) as archive:  # the member keeps the file open until it is closed
        return archive.open(name)  # pyright: ignore[reportReturnType]  # IO[bytes]


def _check_expanded(path: Path, expanded_bytes: int, packed_bytes: int) -> None:
    if expanded_bytes > MAX_EXPANDED_BYTES:
        raise FileRefused(
            f"{path.name}: more than {MAX_EXPANDED_BYTES:,} bytes when unpacked; split it"
        )
    if expanded_bytes > _most_by_ratio(packed_bytes):
        raise FileRefused(
            f"{path.name}: expands more than {MAX_RATIO}-fold, as no readings do; "
            "look into it, and unpack it first if it is one"
        )


def _most_by_ratio(packed_bytes: int) -> int:
    return max(RATIO_FROM_BYTES, MAX_RATIO * packed_bytes)


def _damaged(path: Path, error: Exception) -> FileRefused:
    return FileRefused(
        f"{path.name}: damaged, cut off or locked ({error}); copy it again, or unpack it first"
    )
