"""Writes the packed files of the corpus, alike each time: python -m tests.probes.corpus.make"""

from __future__ import annotations

import bz2
import gzip
import io
import random
import re
import zipfile
from datetime import datetime, time
from pathlib import Path

from openpyxl import Workbook

CORPUS = Path(__file__).parent
PLAIN = (CORPUS / "comma.csv").read_bytes()
WHEN = (2025, 4, 14, 0, 0, 0)  # in the archives, so that they come out alike each time
TOO_MUCH_BYTES = 20 * 2**20


def packed(**members: bytes) -> bytes:
    """Return an archive of members by name."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in members.items():
            archive.writestr(zipfile.ZipInfo(name, WHEN), text, zipfile.ZIP_DEFLATED)
    return content.getvalue()


def sheet(rows: list[list[object]], other: list[list[object]] | None = None) -> bytes:
    """Return a spreadsheet of one sheet, or with another one in front."""
    book = Workbook()
    first = book.worksheets[0]
    first.title = "Notes" if other is not None else "Data"
    data = book.create_sheet("Data") if other is not None else first
    for row in other or []:
        first.append(row)
    for row in rows:
        data.append(row)
    content = io.BytesIO()
    book.save(content)
    with zipfile.ZipFile(content) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    about = "docProps/core.xml"
    members[about] = re.sub(rb"\d{4}-\d\d-\d\dT[\d:]+Z", b"2025-04-14T00:00:00Z", members[about])
    return packed(**members)


def main() -> None:
    """Write them."""
    header, *rows = [line.split(",") for line in PLAIN.decode().splitlines()]
    stamps = [datetime.fromisoformat(row[0]) for row in rows]
    numbers = [[float(cell) for cell in row[1:]] for row in rows]
    dated = [[stamp, *cells] for stamp, cells in zip(stamps, numbers, strict=True)]
    apart = [
        [stamp.date(), time(stamp.hour), *cells]
        for stamp, cells in zip(stamps, numbers, strict=True)
    ]
    blank = [*dated[:5], [stamps[5], 6.75, None]]
    noise = random.Random(64).randbytes(2000)  # noqa: S311 (so that it does not pack)
    files = {
        "gzip.csv.gz": gzip.compress(PLAIN, mtime=0),
        "gzip_named_csv.csv": gzip.compress(PLAIN, mtime=0),
        "gzip_cut_off.gz": gzip.compress(PLAIN + noise, mtime=0)[:-1000],
        "gzip_damaged.gz": gzip.compress(PLAIN, mtime=0)[:40] + b"\xff" * 40,
        "gzip_twice.gz": gzip.compress(gzip.compress(PLAIN, mtime=0), mtime=0),
        "gzip_bomb.gz": gzip.compress(PLAIN + b"\n" * TOO_MUCH_BYTES, mtime=0),
        "bzip2.csv.bz2": bz2.compress(PLAIN),
        "zip_one.zip": packed(**{"log.csv": PLAIN}),
        "zip_with_notes.zip": packed(**{"log.csv": PLAIN, "notes.md": b"wet", "._log.csv": b"x"}),
        "zip_two_texts.zip": packed(**{"a.csv": PLAIN, "b.csv": PLAIN}),
        "zip_in_zip.zip": packed(**{"inner.csv": packed(**{"log.csv": PLAIN})}),
        "zip_bomb.zip": packed(**{"log.csv": b"0" * TOO_MUCH_BYTES}),
        "zip_many.zip": packed(**{f"{number}": b"" for number in range(1001)}),
        "zip_no_end.zip": packed(**{"log.csv": PLAIN})[:-30],
        "sheet.xlsx": sheet([["Site", "Hill"], [], header, *dated]),
        "sheet_named.xlsx": sheet([header, *dated], other=[["nothing", "here"]]),
        "sheet_date_and_time.xlsx": sheet([["Date", "Time", *header[1:]], *apart]),
        "sheet_blank_last.xlsx": sheet([header, *blank]),
        "sheet_formula.xlsx": sheet([header, *dated[:2], [stamps[2], "=6+1", 8.75], *dated[3:]]),
        "sheet_damaged.xlsx": sheet([header, *dated]).replace(b"xl/worksheets", b"xl/worksheetz"),
        "old_sheet.xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504),
    }
    for name, content in files.items():
        (CORPUS / name).write_bytes(content)


if __name__ == "__main__":
    main()
