"""Damaged files: none crashes the reader, each is accounted for, no value comes from nowhere."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from probes.proposing.clocks import Place
from probes.proposing.propose import propose_layout
from tests.corpus import CASES, CORPUS, FILES, NOW, Case
from tests.plain_reader import PlainFile, read_plainly, to_celsius

# the plain reader finds columns by their names
HARMLESS = [case for case in CASES if "rows" in case.spec and case.layout.header]
BENCH = Place("bench", "America/Denver", -111.8)
SCRAPS = (
    *(b",", b";", b"\t", b" ", b'"', b"\n", b"\r", b"\r\n", b"\n\n", b"\0", b"\0\0\0", b"-", b"."),
    *(b"\xff", b"\xef\xbb\xbf", b"\xc2\x85", b"\xb0", b"9", b"0", b"1e9", b"-9999", b"NaN", b"1_0"),
    *(b"24:00", b"2091", b"now", b"PM", b"+01:00", b"Z", b"\x1f\x8b", b"PK\3\4", b"C", b"Time"),
    *(b"\nEnd of data\n", b"\nTime,A,B\n", b"\nMax,7.5,9.0\n", b"1" * 400),
)


def mutate(chance: random.Random, content: bytes) -> bytes:
    """Return a file with one to four injuries."""
    for _ in range(chance.randint(1, 4)):
        place, other = (chance.randint(0, len(content)) for _ in range(2))
        lines = content.split(b"\n")
        line = chance.randrange(len(lines))
        match chance.randrange(9):
            case 0:
                content = content[:place] + chance.choice(SCRAPS) + content[place:]
            case 1:
                content = content[:place] + content[place + chance.randint(1, 12) :]
            case 2:
                content = content[:place] + chance.randbytes(1) + content[place + 1 :]
            case 3:
                content = content[:place]
            case 4:
                content = b"\n".join([*lines[: line + 1], *lines[line:]])
            case 5:
                content = b"\n".join([*lines[:line], *lines[line + 1 :]])
            case 6:
                chance.shuffle(lines)
                content = b"\n".join(lines)
            case 7:
                content += (CORPUS / chance.choice(FILES)).read_bytes()[:2000]
            case _:
                first, last = sorted((place, other))
                content = content[:first] + content[last:] + content[first:last]
    return content


def faults_of(seeds: range, folder: Path) -> Iterator[str]:
    """Yield what is wrong with how damaged files are read."""
    path = folder / "damaged"
    for seed in seeds:
        chance = random.Random(seed)  # noqa: S311 (so that a fault can be met again)
        case = chance.choice(HARMLESS)
        path.write_bytes(mutate(chance, case.path.read_bytes()))
        try:
            file = case.read(path)
        except FileRefused:
            continue
        layout = case.layout
        plain = read_plainly(path, layout.headers, layout.delimiter, layout.encoding)
        for fault in (*uncounted(file, case, plain), *strange_values(file, case, plain)):
            yield f"seed {seed}, {case.path.name}: {fault}"


def uncounted(file: LoggerFile, case: Case, plain: PlainFile) -> Iterator[str]:
    """Yield what the counts leave out: readings of rows, or lines of the file."""
    in_row = case.layout.readings_in_row
    rows = set(file.line.tolist())
    finite = int(np.isfinite(file.soil_temp_c).sum())
    of_cells = sum(reject.readings for reject in file.rejects if reject.line in rows)
    if len(rows) * in_row != finite + file.missing + of_cells:
        yield f"{len(rows)} rows, but {finite} + {file.missing} + {of_cells} readings"
    lost = [reject for reject in file.rejects if reject.line not in rows]
    if any(reject.readings != in_row for reject in lost):
        yield "a lost row does not count all its readings"
    if plain.filled_lines() != len(rows) + len(lost) + file.others:
        yield f"{plain.filled_lines()} lines, but {len(rows)} + {len(lost)} + {file.others}"


def strange_values(file: LoggerFile, case: Case, plain: PlainFile) -> Iterator[str]:
    """Yield values that do not stand in their line of the file."""
    layout = case.layout
    for place, channel in np.argwhere(np.isfinite(file.soil_temp_c)).tolist():
        line, name = int(file.line[place]), file.channels[channel]
        cell = plain.cell(line, layout.value or name)
        read_c = file.soil_temp_c[place, channel]
        try:
            in_file_c = to_celsius(cell, layout.decimal, layout.unit)
        except ValueError:
            yield f"line {line}: {read_c} read from '{cell}'"
            continue
        if abs(in_file_c - read_c) > 1e-9:  # degC
            yield f"line {line}: {read_c} read from '{cell}'"


def test_no_damage_crashes_miscounts_or_invents(tmp_path: Path) -> None:
    assert list(faults_of(range(200), tmp_path)) == []


@pytest.mark.long
def test_no_damage_of_ten_thousand_crashes_miscounts_or_invents(tmp_path: Path) -> None:
    assert list(faults_of(range(10_000), tmp_path)) == []


def what_is_proposed(seed: int, path: Path) -> str:
    """Return how proposing a layout for a damaged file ended."""
    chance = random.Random(seed)  # noqa: S311
    path.write_bytes(mutate(chance, (CORPUS / chance.choice(FILES)).read_bytes()))
    try:
        propose_layout(path, NOW, [BENCH])
    except FileRefused:
        return "refused"
    return "proposed"


@pytest.mark.parametrize("files", [30, pytest.param(1_000, marks=pytest.mark.long)])
def test_no_damage_crashes_the_proposing(tmp_path: Path, files: int) -> None:
    ends = {what_is_proposed(seed, tmp_path / "damaged") for seed in range(files)}
    assert ends == {"refused", "proposed"}
