"""Whole logger files: the forms they come in, what is rejected line by line, what is refused."""

from __future__ import annotations

import io
import tracemalloc
from pathlib import Path

import pytest

from probes.frames import LoggerFile
from probes.logger_files import FileRefused, read_logger_file
from probes.logger_lines import MAX_LINES, read_blocks
from tests.logger_texts import layout, read

PLAIN = "Time,10 cm,30 cm\n2025-04-01 01:00,7.5,9\n2025-04-01 02:00,7.25,-0.5\n"
PLAIN_VALUES = [[7.5, 9.0], [7.25, -0.5]]
# by hand: UTC-08:00
PLAIN_TIMES = ["2025-04-01T09:00", "2025-04-01T10:00"]


def times(file: LoggerFile) -> list[str]:
    """Return the instants of the rows, to the minute."""
    return [str(instant)[:16] for instant in file.observed_at]


def rejected(file: LoggerFile) -> list[tuple[int, str, int]]:
    """Return line, raw text and lost readings of each reject."""
    return [(reject.line, reject.text, reject.readings) for reject in file.rejects]


@pytest.mark.parametrize(
    ("content", "fields"),
    [
        pytest.param(PLAIN, {}, id="comma"),
        pytest.param(PLAIN.replace(",", "\t"), {"delimiter": "\t"}, id="tab"),
        pytest.param(PLAIN.replace(",", ";"), {"delimiter": ";"}, id="semicolon"),
        pytest.param(
            PLAIN.replace(",", ";").replace(".", ","),
            {"delimiter": ";", "decimal": ","},
            id="decimal comma",
        ),
        pytest.param(
            'Time,10 cm,30 cm\n2025-04-01 01:00,"7,5",9\n2025-04-01 02:00,"7,25","-0,5"\n',
            {"decimal": ","},
            id="quoted decimal comma",
        ),
        pytest.param("\ufeff" + PLAIN, {}, id="byte order mark"),
        pytest.param("\ufeff\ufeff" + PLAIN, {}, id="two byte order marks"),
        pytest.param(PLAIN.encode("utf-16"), {"encoding": "utf-16"}, id="UTF-16"),
        pytest.param(
            "\ufeff".encode("utf-16-be") + PLAIN.encode("utf-16-be"),
            {"encoding": "utf-16"},
            id="UTF-16 the other way round",
        ),
        pytest.param(PLAIN.replace("\n", "\r\n"), {}, id="CR LF"),
        pytest.param(PLAIN.replace("\n", "\r"), {}, id="CR"),
        pytest.param(PLAIN.replace("\n", "\r\r\n"), {}, id="CR CR LF"),
        pytest.param("Site,Hill\n\nUnit,C\n" + PLAIN, {}, id="preamble found"),
        pytest.param("Site,Hill\n\nUnit,C\n" + PLAIN, {"skip": 3}, id="preamble skipped"),
        pytest.param('a preamble with " one quote\n' + PLAIN, {}, id="a quote in the preamble"),
        pytest.param(PLAIN.replace("\n", "\n\n"), {}, id="blank lines"),
        pytest.param(PLAIN + "Time,10 cm,30 cm\n", {}, id="header repeated"),
        pytest.param(PLAIN.replace("\n", ",\n"), {}, id="every line ends in a delimiter"),
        pytest.param(
            PLAIN.replace("\n", ",\n").replace("cm,\n", "cm\n"), {}, id="every row but the header"
        ),
        pytest.param(
            "Time,Note,10 cm,Battery,30 cm\n2025-04-01 01:00,dug,7.5,x,9\n"
            "2025-04-01 02:00,,7.25,,-0.5\n",
            {},
            id="columns that are not declared",
        ),
        pytest.param(
            PLAIN.replace("2025-04-01 ", "2025-04-01,").replace("Time", "Date,Clock"),
            {"time": ("Date", "Clock")},
            id="date and time apart",
        ),
        pytest.param(
            PLAIN.replace(",", '","').replace("\n", '"\n"').join('""').removesuffix('""'),
            {},
            id="all quoted",
        ),
        pytest.param(
            "Time , 10 cm, 30 cm \n 2025-04-01 01:00 , 7.5 , 9\n2025-04-01 02:00, 7.25, -0.5 \n",
            {},
            id="blanks around cells",
        ),
        pytest.param(
            PLAIN.replace("2025-04-01 02", "\0\0\0\0002025-04-01 02"), {}, id="NULs before a record"
        ),
        pytest.param(
            "\n".join([*PLAIN.splitlines()[:1], *PLAIN.splitlines()[:0:-1], ""]),
            {"order": "any"},
            id="any order",
        ),
    ],
)
def test_each_form_gives_the_same_readings(tmp_path: Path, content, fields) -> None:
    file = read(tmp_path, content, **fields)
    rows = sorted(zip(times(file), file.soil_temp_c.tolist(), strict=True))
    assert rows == list(zip(PLAIN_TIMES, PLAIN_VALUES, strict=True))
    assert (file.channels, file.missing, file.rejects) == (("10 cm", "30 cm"), 0, ())


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "utf-8", "utf-16"])
def test_a_header_with_a_degree_sign_is_found_in_its_encoding(tmp_path: Path, encoding) -> None:
    content = PLAIN.replace("10 cm", "10 cm (\N{DEGREE SIGN}C)").encode(encoding)
    columns = {"10 cm (\N{DEGREE SIGN}C)": 10.0, "30 cm": 30.0}
    file = read(tmp_path, content, encoding=encoding, columns=columns)
    assert file.soil_temp_c.tolist() == PLAIN_VALUES


def test_a_letter_that_other_scripts_take_for_a_line_end_is_none(tmp_path: Path) -> None:
    content = b"Time,Note,10 cm,30 cm\n2025-04-01 01:00,wait\x85,7.5,9\n"
    assert read(tmp_path, content, encoding="latin-1").line.tolist() == [2]


def test_rows_know_their_line_in_the_file(tmp_path: Path) -> None:
    content = "Site,Hill\n" + PLAIN.replace("2025-04-01 02", "\n2025-04-01 02")
    assert read(tmp_path, content).line.tolist() == [3, 5]


def test_channels_stand_as_the_layout_declares_them(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN, columns={"30 cm": 30.0, "10 cm": 10.0})
    assert file.channels == ("30 cm", "10 cm")
    assert file.soil_temp_c.tolist() == [[9.0, 7.5], [-0.5, 7.25]]


def test_fahrenheit_meets_its_missing_code_before_it_is_converted(tmp_path: Path) -> None:
    content = "Time,10 cm,30 cm\n2025-04-01 01:00,50,-9999\n2025-04-01 02:00,64,-9999.0\n"
    file = read(tmp_path, content, unit="F", missing=("-9999",))
    # by hand: (50 - 32) * 5 / 9 = 10; (64 - 32) * 5 / 9 = 160 / 9
    assert file.soil_temp_c[:, 0].tolist() == [10.0, 160 / 9]
    assert file.missing == 2


@pytest.mark.parametrize(
    ("line", "readings", "why"),
    [
        pytest.param("2025-04-01 03:00,7.5", 2, "has 2 cells where a row has 3", id="too few"),
        pytest.param("2025-04-01 03:00,7,5,9", 2, "has 4 cells where a row has 3", id="too many"),
        pytest.param("2025-04-01 03:00,7.5,9,", 2, "has 4 cells", id="a delimiter behind one row"),
        pytest.param('2025-04-01 03:00,"7.5,9', 2, "a quote that is never closed", id="open quote"),
        pytest.param("\0\0\0\0\0", 2, "only NULs", id="NULs"),
        pytest.param("End of data", 2, "has 1 cells", id="a closing remark"),
        pytest.param("Max,7.9,9.9", 2, "'Max' is not a time", id="a summary"),
        pytest.param("Time,C,C", 2, "'Time' is not a time", id="a line of units"),
        pytest.param("2025-04-01T03:00,7.5,9", 2, "is not a time", id="another format"),
        pytest.param(",,", 2, "'' is not a time", id="blank cells"),
        pytest.param("2025-03-01 03:00,7.5,9", 2, "out of order", id="a step back"),
    ],
)
def test_a_line_that_is_no_row_is_rejected_and_the_rest_counts(
    tmp_path: Path, line: str, readings: int, why: str
) -> None:
    file = read(tmp_path, PLAIN + line + "\n2025-04-01 04:00,7,8\n")
    shown = line.replace("\0", "\N{SYMBOL FOR NULL}")
    assert rejected(file) == [(4, shown, readings)]
    assert why in file.rejects[0].reason
    assert (file.line.tolist(), file.soil_temp_c.tolist()) == ([2, 3, 5], [*PLAIN_VALUES, [7, 8]])


def test_a_row_without_quotes_is_none_where_commas_stand_for_both(tmp_path: Path) -> None:
    rows = '2025-04-01 01:00,"7,5",9\n2025-04-01 02:00,7,9\n'
    file = read(tmp_path, "Time,10 cm,30 cm\n" + rows, decimal=",")
    assert file.soil_temp_c.tolist() == [[7.5, 9.0]]
    assert rejected(file) == [(3, "2025-04-01 02:00,7,9", 2)]
    assert "has no quotes" in file.rejects[0].reason


def test_where_rows_end_in_a_delimiter_one_that_does_not_is_no_row(tmp_path: Path) -> None:
    rows = "".join(f"2025-04-01 0{hour}:00,7.5,9,\n" for hour in range(3, 6))
    file = read(tmp_path, "Time,10 cm,30 cm\n2025-04-01 02:00,7,5,9\n" + rows)
    assert rejected(file) == [(2, "2025-04-01 02:00,7,5,9", 2)]
    assert file.line.tolist() == [3, 4, 5]


def test_a_cell_that_is_no_number_costs_only_itself(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "2025-04-01 03:00,Error,\n")
    assert rejected(file) == [(4, "Error", 1)]
    assert "'Error' in column '10 cm'" in file.rejects[0].reason
    assert (file.missing, file.line.tolist()) == (1, [2, 3, 4])


def test_a_row_of_unreadable_cells_is_rejected_cell_by_cell(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "2025-04-01 03:00,Error,OL\n")
    assert rejected(file) == [(4, "Error", 1), (4, "OL", 1)]


def test_a_row_without_a_time_is_one_reject_whatever_its_cells_hold(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "2025-03-01 03:00,Error,\n2025-13-01 03:00,Error,\n")
    assert [(line, lost) for line, _, lost in rejected(file)] == [(4, 2), (5, 2)]
    assert file.missing == 0


def test_a_step_back_names_the_remedy(tmp_path: Path) -> None:
    reason = read(tmp_path, PLAIN + "2025-03-01 03:00,7,8\n").rejects[0].reason
    # by hand: 03:00 at UTC-08:00
    assert reason.startswith("2025-03-01 11:00 UTC stands out of order in time")
    assert 'set order = "any" in layout.upper' in reason


def test_a_jump_far_ahead_costs_only_itself(tmp_path: Path) -> None:
    jump = "2091-01-01 00:00,7,8\n"
    file = read(tmp_path, PLAIN + jump + "2025-04-01 03:00,7,8\n2025-04-01 04:00,7,8\n")
    assert rejected(file) == [(4, jump.strip(), 2)]
    assert file.line.tolist() == [2, 3, 5, 6]


def test_a_time_read_before_is_left_to_the_store(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "2025-04-01 01:00,1,2\n2025-04-01 03:00,7,8\n")
    assert (file.line.tolist(), file.rejects) == ([2, 3, 4, 5], ())


@pytest.mark.parametrize("hour", ["2025-11-02 01:30", "2025-03-09 02:30"])
def test_a_local_hour_that_happens_twice_or_never_is_rejected_with_its_line(
    tmp_path: Path, hour: str
) -> None:
    content = f"Time,10 cm,30 cm\n{hour},7.5,9\n"
    file = read(tmp_path, content, clock="America/New_York")
    assert rejected(file) == [(2, f"{hour},7.5,9", 2)]
    assert 'set clock = "UTC-05:00" in layout.upper' in file.rejects[0].reason


@pytest.mark.parametrize("hour", ["2025-11-02 01:30", "2025-03-09 02:30"])
def test_a_fixed_clock_knows_every_hour_once(tmp_path: Path, hour: str) -> None:
    file = read(tmp_path, f"Time,10 cm,30 cm\n{hour},7.5,9\n", clock="UTC-05:00")
    assert (file.line.tolist(), file.rejects) == ([2], ())


def test_the_last_line_is_not_trusted_where_the_file_ends_within_it(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "2025-04-01 03:00,7.5,1")
    assert rejected(file) == [(4, "2025-04-01 03:00,7.5,1", 2)]
    assert "the file ends within this line" in file.rejects[0].reason
    assert file.soil_temp_c.tolist() == PLAIN_VALUES


def test_one_open_quote_does_not_swallow_the_lines_behind_it(tmp_path: Path) -> None:
    rows = (
        '2025-04-01 03:00,"7,8\n2025-04-01 04:00,7,8\n2025-04-01 05:00,7,"8\n2025-04-01 06:00,7,8\n'
    )
    file = read(tmp_path, PLAIN + rows)
    assert [line for line, _, _ in rejected(file)] == [4, 6]
    assert file.line.tolist() == [2, 3, 5, 7]


def test_bytes_of_another_encoding_spoil_only_the_cell_they_stand_in(tmp_path: Path) -> None:
    content = (
        b"Time,Note,10 cm,30 cm\n2025-04-01 01:00,20\xb0 slope,7.5,9\n2025-04-01 02:00,,7\xb0,8\n"
    )
    file = read(tmp_path, content)
    assert rejected(file) == [(3, "7\N{REPLACEMENT CHARACTER}", 1)]
    assert file.line.tolist() == [2, 3]


def test_a_long_line_is_shown_in_part(tmp_path: Path) -> None:
    file = read(tmp_path, PLAIN + "x" * 10_000 + "\n")
    assert file.rejects[0].text == "x" * 200 + "..."


@pytest.mark.parametrize("quote", ["", '"'])
def test_lines_that_straddle_the_blocks_a_file_is_read_in_are_whole(
    tmp_path: Path, quote: str
) -> None:
    path = tmp_path / "upper.csv"
    rows = [
        f"{year}-04-{day:02d} {hour:02d}:{minute:02d},{quote}{day}{quote},{hour}\r\n"
        for year in (2024, 2025)
        for day in range(1, 31)
        for hour in range(24)
        for minute in range(60)
    ]
    path.write_text("Time,10 cm,30 cm\n" + "".join(rows), newline="")
    progress: list[int] = []
    file = read_logger_file(path, layout(), progress.append)
    assert file.line.tolist() == list(range(2, 2 + len(rows)))
    # by hand: 1440 minutes of 1 + 2 + ... + 30 in each of two years
    assert file.soil_temp_c[:, 0].sum() == 2 * 1440 * 465
    assert (progress[0], progress[-1]) == (1 << 20, path.stat().st_size)


@pytest.mark.parametrize(
    ("content", "fields", "message"),
    [
        pytest.param("", {}, "upper.csv: the file is empty", id="empty"),
        pytest.param(
            PLAIN,
            {"columns": {"10 cm": 10.0, "45 cm": 45.0}},
            "no column '45 cm' in line 1, .* names 'Time', '10 cm', '30 cm'; correct",
            id="a column that is not there",
        ),
        pytest.param(
            "Site,Hill\n" + PLAIN,
            {"columns": {"10 cm": 10.0, "45 cm": 45.0}},
            "no column '45 cm' in line 2",
            id="the nearest line is named",
        ),
        pytest.param(
            PLAIN,
            {"delimiter": ";"},
            "names 'Time,10 cm,30 cm'; correct .*delimiter",
            id="delimiter",
        ),
        pytest.param(
            PLAIN, {"skip": 1}, "no column 'Time', '10 cm', '30 cm' in line 2", id="wrong skip"
        ),
        pytest.param(
            PLAIN, {"skip": 9}, "ends before its header; correct skip", id="skip too long"
        ),
        pytest.param(
            PLAIN.replace("30 cm", "10 cm"),
            {"columns": {"10 cm": 10.0}},
            "'10 cm' stands more than once in the header, line 1",
            id="a column twice",
        ),
        pytest.param(
            "x\n" * 200 + PLAIN, {}, "no column 'Time', .* in line 1,", id="header beyond line 200"
        ),
        pytest.param(PLAIN.encode("utf-16"), {}, "correct .* encoding", id="UTF-16 undeclared"),
        pytest.param(
            PLAIN, {"encoding": "utf-16"}, "correct encoding in its layout", id="UTF-16 declared"
        ),
        pytest.param(
            PLAIN, {"encoding": "utf-88"}, '"utf-88" is no encoding; write', id="encoding"
        ),
        pytest.param(
            PLAIN,
            {"time_format": "%Y-%m-%d %H:%M %p"},
            "upper.csv: time_format .* mixes %p .* in layout.upper",
            id="a format that mixes the 12- and the 24-hour clock",
        ),
    ],
)
def test_a_file_that_cannot_be_read_as_a_whole_is_refused(
    tmp_path: Path, content, fields, message: str
) -> None:
    with pytest.raises(FileRefused, match=message):
        read(tmp_path, content, **fields)


def test_a_line_without_an_end_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileRefused, match="line 4 does not end within 1,048,576 characters"):
        read(tmp_path, PLAIN + "x" * 3_000_000)


def test_a_header_alone_makes_a_file_without_rows(tmp_path: Path) -> None:
    file = read(tmp_path, "Time,10 cm,30 cm\n")
    assert (file.soil_temp_c.shape, file.observed_at.size, file.rejects) == ((0, 2), 0, ())


def test_a_file_of_bad_rows_alone_is_told_whole_in_little_memory(tmp_path: Path) -> None:
    content = "Time,10 cm,30 cm\n" + "x\n" * 100_000
    tracemalloc.start()
    try:
        file = read(tmp_path, content)
        kept_bytes, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert kept_bytes < 5_000_000
    assert peak_bytes < 30_000_000  # a block of lines, with why each is none
    assert sum(one.readings for one in file.rejects) == 200_000
    assert len(file.rejects) == 10_001
    last = file.rejects[-1]
    assert last.line == 10_002  # by hand: behind the header and 10,000 that are told one by one
    assert last.reason.endswith("(90,000 of this kind, from here to line 100,001)")


def test_of_many_rejects_those_of_lost_rows_count_once(tmp_path: Path) -> None:
    early = "2025-04-01 01:00,a,2\n" * 10_001 + "2025-04-01 02:00,a,2\n"
    file = read(tmp_path, f"Time,10 cm,30 cm\n{early}2019-01-01 00:00,a,2\n2025-04-01 03:00,1,2\n")
    assert sum(one.readings for one in file.rejects) == 10_002 + 2  # by hand: 2 of the lost row
    assert file.rejects[-2].reason.endswith("(2 of this kind, from here to line 10,003)")
    assert (file.rejects[-1].line, file.rejects[-1].readings) == (10_004, 2)


def test_more_lines_than_any_logger_writes_are_refused() -> None:
    stream = io.BytesIO(b"\n" * MAX_LINES + b"2025-04-01 01:00,7.5,9\n")
    with pytest.raises(FileRefused, match="more than 8,000,000 lines; cut it into files of fewer"):
        list(map(id, read_blocks(stream, "log.csv", "utf-8")))
