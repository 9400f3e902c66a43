"""Laws of reading logger files, whatever they hold."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from probes.frames import LoggerFile
from probes.logger_files import FileRefused
from tests.logger_texts import read

HEADER = "Time,10 cm,30 cm\n"
ROWS = [f"2025-04-01 {hour:02d}:00,{hour / 4},{20 - hour}\n" for hour in range(24)]
VALID = (HEADER + "".join(ROWS)).encode()

BITS = [b"", b",", b"\n", b"\r\n", b'"', b"\0", b"\xff", b"\xef\xbb\xbf", b"-9999", b"nan", b"1_0",
        b"now", b"2091", b"1e999", b";", b" ", b"\xc2\x85", b"Time,10 cm,30 cm\n"]  # fmt: skip
edits = st.lists(
    st.tuples(
        st.integers(0, len(VALID)),
        st.integers(0, 40),
        st.one_of(st.sampled_from(BITS), st.binary(max_size=4)),
    ),
    max_size=6,
)


def read_here(content: str | bytes, **fields: object) -> LoggerFile:
    """Read a file in a folder of its own; hypothesis runs a test many times in one tmp_path."""
    with tempfile.TemporaryDirectory() as folder:
        return read(Path(folder), content, **fields)


@given(edits, st.sampled_from(["utf-8", "cp1252"]), st.sampled_from(["time", "any"]))
@example([(len(HEADER), 0, HEADER.encode())], "utf-8", "time")
def test_the_counts_of_any_damaged_file_add_up(edits, encoding: str, order: str) -> None:
    content = VALID
    for place, length, bits in edits:
        content = content[:place] + bits + content[place + length :]
    try:
        file = read_here(content, encoding=encoding, order=order, missing=("", "-9999"))
    except FileRefused:
        return
    finite = int(np.isfinite(file.soil_temp_c).sum())
    rows, channels = file.soil_temp_c.shape
    in_rows = set(file.line.tolist())
    cells = sum(reject.readings for reject in file.rejects if reject.line in in_rows)
    assert rows * channels == finite + file.missing + cells
    lines = [line for line in file.rejects if line.line not in in_rows]
    assert [each.readings for each in lines] == [channels] * len(lines)
    assert not np.isnat(file.observed_at).any()
    assert not np.isinf(file.soil_temp_c).any()


@given(st.permutations(ROWS))
def test_in_any_order_rows_hold_the_same_readings(rows: list[str]) -> None:
    file = read_here(HEADER + "".join(rows), order="any")
    found = sorted(zip(file.observed_at.tolist(), file.soil_temp_c.tolist(), strict=True))
    whole = read_here(VALID)
    assert found == list(zip(whole.observed_at.tolist(), whole.soil_temp_c.tolist(), strict=True))


@given(st.permutations(ROWS))
def test_in_order_of_time_what_is_kept_runs_one_way_and_nothing_vanishes(rows: list[str]) -> None:
    file = read_here(HEADER + "".join(rows))
    steps = np.diff(file.observed_at.astype(np.int64))
    assert (steps >= 0).all() or (steps <= 0).all()
    assert sorted([*file.line.tolist(), *(reject.line for reject in file.rejects)]) == list(
        range(2, 26)
    )


@given(st.lists(st.floats(-50, 150), min_size=1, max_size=24))
def test_fahrenheit_and_celsius_files_of_one_soil_agree(soil_temps_f: list[float]) -> None:
    def content(temps: list[float]) -> str:
        return HEADER + "".join(
            f"2025-04-01 {hour:02d}:00,{temp!r},0\n" for hour, temp in enumerate(temps)
        )

    in_f = read_here(content(soil_temps_f), unit="F").soil_temp_c[:, 0]
    # by hand: 1 degF is 5/9 degC, and 32 degF is 0 degC
    in_c = read_here(content([(temp_f - 32) / 1.8 for temp_f in soil_temps_f])).soil_temp_c[:, 0]
    assert in_f.tolist() == pytest.approx(in_c.tolist(), abs=1e-9)  # degC
