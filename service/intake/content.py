"""What a delivery held, as it is kept, and how it is read again.

A logger's file is kept as it came, with its layout and the corrections of its clock as they were
then. All else (a push, a feed's answer, readings by hand) is kept in one canonical form, whatever
came: a row for each reading, with the line it had, its time before any correction, and what the
network it comes from flags it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import zlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from probes.clock_corrections import ClockCorrection, find_shifts
from probes.frames import LoggerFile
from probes.future_stamps import reject_future
from probes.logger_files import read_logger_file
from probes.reset_clocks import reject_reset
from service.farm.layouts import layout_from_spec
from service.store.imports import Content

CANONICAL_HEADER = ("line", "observed_at", "channel", "soil_temp_c", "flag")
SUSPECT = "suspect"
QUICKEST = 1  # of zlib's levels: the body is packed while the file is parsed
CHUNK_BYTES = 1 << 20


def pack_file(path: Path) -> tuple[str, bytes]:
    """Return the SHA-256 of a file, and its bytes compressed."""
    digest, packer = hashlib.sha256(), zlib.compressobj(QUICKEST)
    packed = bytearray()
    with path.open("rb") as stream:
        while chunk := stream.read(CHUNK_BYTES):
            digest.update(chunk)
            packed += packer.compress(chunk)
    return digest.hexdigest(), bytes(packed + packer.flush())


def pack_canonical(file: LoggerFile, corrections: Sequence[ClockCorrection]) -> Content:
    """Return the canonical form of readings whose clock is not corrected yet."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(CANONICAL_HEADER)
    rows, channels = np.nonzero(~np.isnan(file.soil_temp_c))
    stamps = np.datetime_as_string(file.observed_at[rows], "us", "UTC").tolist()
    names = [file.channels[channel] for channel in channels.tolist()]
    values_c = file.soil_temp_c[rows, channels].tolist()
    suspect = False if file.suspect is None else file.suspect[rows, channels]
    flags = np.broadcast_to(np.where(suspect, SUSPECT, ""), rows.size).tolist()
    writer.writerows(zip(file.line[rows].tolist(), stamps, names, values_c, flags, strict=True))
    return Content(zlib.compress(text.getvalue().encode(), QUICKEST), {}, corrections)


def correct_clock(file: LoggerFile, corrections: Sequence[ClockCorrection]) -> LoggerFile:
    """Return readings at their true times."""
    shift = find_shifts(file.observed_at, corrections)
    return replace(file, observed_at=file.observed_at + shift, shift=shift)


def read_content(
    content: Content, name: str, layout_name: str, logger_id: str, arrived_at: datetime
) -> LoggerFile:
    """Read a delivery again, as it was read when it arrived; rows of the future stand in it."""
    body = zlib.decompress(content.body)
    if not content.layout:
        return correct_clock(_read_canonical(body), content.clock_corrections)
    with TemporaryDirectory() as folder:
        path = Path(folder, name)
        path.write_bytes(body)
        return read_logger_file(
            path,
            layout_from_spec(layout_name, content.layout),
            logger_id=logger_id,
            latest_year=arrived_at.year + 1,
            clock_corrections=content.clock_corrections,
        )


def believe(file: LoggerFile, source: str, arrived_at: datetime) -> LoggerFile:
    """Reject the rows of a delivery whose time cannot be, by when and by what way it arrived."""
    file = reject_future(file, arrived_at)
    return reject_reset(file, arrived_at) if source == "push" else file


def _read_canonical(body: bytes) -> LoggerFile:
    rows = list(csv.DictReader(io.StringIO(body.decode(), newline="")))
    channels = tuple(dict.fromkeys(row["channel"] for row in rows))
    place = {channel: number for number, channel in enumerate(channels)}
    soil_temp_c = np.full((len(rows), len(channels)), np.nan)
    suspect = np.zeros(soil_temp_c.shape, np.bool_)
    for number, row in enumerate(rows):
        channel = place[row["channel"]]
        soil_temp_c[number, channel] = float(row["soil_temp_c"])
        suspect[number, channel] = row.get("flag") == SUSPECT
    stamps = [row["observed_at"].removesuffix("Z") for row in rows]
    # what an earlier version has kept has no lines, or no flags
    lines = [int(row.get("line", number)) for number, row in enumerate(rows, start=1)]
    return LoggerFile(
        channels=channels,
        line=np.array(lines, np.int64),
        observed_at=np.array(stamps, "datetime64[us]"),
        soil_temp_c=soil_temp_c,
        missing=0,
        rejects=(),
        suspect=suspect,
    )
