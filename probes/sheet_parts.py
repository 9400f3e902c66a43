"""The parts of a spreadsheet: none that takes far more memory than it has bytes."""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import IO
from xml.parsers import expat

from probes.logger_lines import FileRefused

MAX_KEPT = 2**21
"""Elements and attributes that a reader keeps until a part ends; of a row, of which there may be
2**20, one."""

MAX_TOGETHER = 2**19
"""Those of one row or text, which a reader then lets go; a row has at most 2**14 cells of ten."""

MAX_TAG_BYTES = 2**20
"""A cell has at most 2**15 characters."""

CHUNK_BYTES = 2**16
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_LET_GO = {f"{_MAIN} row", f"{_MAIN} si"}


def check_parts(path: Path) -> None:
    """Raise FileRefused where a part has more elements than any sheet, or is no XML."""
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            if name.endswith((".xml", ".rels")):
                with archive.open(name) as part:
                    _check(part, f"{path.name}: {name}")


def _check(part: IO[bytes], where: str) -> None:
    kept = together = most = inside = 0

    def begin(tag: str, attributes: dict[str, str]) -> None:
        nonlocal kept, together, inside
        if inside or tag in _LET_GO:
            inside += 1
            together += 1 + len(attributes)
        else:
            kept += 1 + len(attributes)

    def end(_: str) -> None:
        nonlocal kept, together, most, inside
        if inside:
            inside -= 1
            if not inside:
                kept, together, most = kept + 1, 0, max(most, together)

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler, parser.EndElementHandler = begin, end
    since_tag = 0
    try:
        while chunk := part.read(CHUNK_BYTES):
            since_tag = 0 if b">" in chunk else since_tag + len(chunk)
            parser.Parse(chunk)
            if kept > MAX_KEPT or max(most, together) > MAX_TOGETHER or since_tag > MAX_TAG_BYTES:
                raise FileRefused(
                    f"{where}: holds more than any sheet of readings; save as .csv what belongs to "
                    "the logger"
                )
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise FileRefused(
            f"{where}: cannot be read as a spreadsheet ({error}); save it again, or as .csv"
        ) from None
