"""Real soil temperatures through the whole: logger files in, root-zone days, windows, digests out.

The dates are checked three times: against this table, against plain loops over the raw files
(tests.plain_soil, tests.plain_rule), and, in the table itself, by eye against the soil.
"""

from __future__ import annotations

import csv
import json
from datetime import date, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from alerts.windows import Span
from service.bench_examples import depth_lag as depth_lag_example
from service.bench_examples import hidden as hidden_example
from service.bench_examples import threshold as threshold_example
from tests.commands import digseason
from tests.mails import text_of
from tests.plain_soil import ALFALFA, UTAH, Station, root_zone_days, windows
from tests.real_data import need

FARM = Path(__file__).with_name("real_farm.toml")

# [US-TW3], [UTAH-PROFILE]: worked out by the plain loops; the real soil may be checked by eye:
# means of 2015 rise through 64 °F at the end of April and peak at 75.8 °F on 2 August, so fall
# starts at 72.2 °F
SPANS = {
    "alfalfa": """
        2013 spring 2013-02-01 2013-05-28 2013-07-09 spent
        2013 fall   2013-09-08 2013-09-08 2013-11-01 cold
        2014 spring 2014-05-02 2014-05-25 2014-07-06 spent
        2014 fall   2014-08-24 2014-08-24 2014-11-17 cold
        2015 spring 2015-04-29 2015-04-29 2015-06-10 spent
        2015 fall   2015-09-23 2015-09-23 2015-11-15 cold
        2016 spring 2016-02-23 2016-05-21 2016-07-02 spent
        2016 fall   2016-08-28 2016-08-28 2016-11-19 cold
        2017 spring 2017-05-05 2017-05-05 2017-06-16 spent
        2017 fall   2017-09-18 2017-09-18 2017-11-08 cold
        2018 spring 2018-05-08 2018-05-08 - -
    """,
    "profile": """
        2025 spring 2025-05-30 2025-05-30 2025-07-11 spent
        2025 fall   2025-08-15 2025-08-15 2025-09-20 cold
    """,
}
COUNTS = {  # by hand: rows times depths, and of those the cells with the missing code
    "tower": {"inserted": 3 * 95_088 - 3 * 14_372, "missing": 3 * 14_372},
    "profile-1": {"inserted": 7 * 5_136 - 41, "missing": 41},
}
UNSEEN = {  # opened during a gap: as of, what the table says, what the mail says
    date(2013, 5, 28): ("between 1 Feb 2013 and 28 May 2013", "between 1 February and 28 May"),
    date(2014, 5, 26): ("between 2 May 2014 and 25 May 2014", "between 2 and 25 May"),
    date(2016, 5, 21): ("between 23 Feb 2016 and 21 May 2016", "between 23 February and 21 May"),
}

each_station = pytest.mark.parametrize("station", [ALFALFA, UTAH], ids=lambda one: one.block)


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, dict[str, Any]]]:
    """A data folder with both stations imported, and what each import counted."""
    data = tmp_path_factory.mktemp("real-soil")
    digseason(data, "setup", FARM)
    return data, {
        one.logger: json.loads(
            digseason(data, "import", "--logger", one.logger, "--json", need(one.file))
        )
        for one in (ALFALFA, UTAH)
    }


@pytest.fixture(scope="module")
def data(imported: tuple[Path, dict[str, dict[str, Any]]]) -> Path:
    """The data folder with both stations imported."""
    return imported[0]


def found_windows(data: Path, station: Station, as_of: date) -> list[Span]:
    """Return the windows that the command prints."""
    found = json.loads(
        digseason(data, "windows", "--block", station.block, "--as-of", as_of, "--json")
    )
    return [
        Span(
            one["season"],
            one["kind"],
            date.fromisoformat(one["opened_on"]),
            date.fromisoformat(one["not_before"]),
            date.fromisoformat(one["closed_on"]) if one["closed_on"] else None,
            one["reason"],
            date.fromisoformat(one["closed_not_before"]) if one["closed_on"] else None,
        )
        for one in found
    ]


@each_station
def test_every_reading_of_the_files_is_imported_and_every_missing_one_counted(
    imported: tuple[Path, dict[str, dict[str, Any]]], station: Station
) -> None:
    assert imported[1][station.logger] == COUNTS[station.logger] | {
        "identical": 0,
        "conflicting": 0,
        "rejected": 0,
        "rejects": [],
        "signs": [],
        "notes": [],
    }


@each_station
def test_root_zone_days_are_those_of_plain_loops_over_the_file(
    data: Path, station: Station
) -> None:
    text = digseason(
        data, "rootzone", "--block", station.block, "--as-of", station.last_day, "--csv"
    )
    found_c = {
        date.fromisoformat(row["day"]): float(row["root_zone_c"])
        for row in csv.DictReader(text.splitlines())
        if row["root_zone_c"]
    }
    assert found_c == pytest.approx(root_zone_days(station), rel=0, abs=1e-9)  # degC


@each_station
def test_windows_are_those_of_the_table(data: Path, station: Station) -> None:
    found = [
        f"{one.season} {one.kind:6} {one.not_before} {one.opened_on} "
        f"{one.closed_on or '-'} {one.reason or '-'}"
        for one in found_windows(data, station, station.last_day)
    ]
    assert found == [line.strip() for line in SPANS[station.block].strip().splitlines()]


@each_station
def test_windows_are_those_of_the_plain_rule(data: Path, station: Station) -> None:
    assert found_windows(data, station, station.last_day) == windows(station, station.last_day)


@pytest.mark.parametrize(
    "as_of",
    [
        pytest.param(date(2013, 5, 27), id="three days of readings"),
        pytest.param(date(2014, 5, 24), id="in the gap before an opening"),
        pytest.param(date(2014, 6, 3), id="open, in a gap"),
        pytest.param(date(2015, 11, 5), id="fall, in a gap"),
        pytest.param(date(2016, 7, 1), id="the day before spent"),
        pytest.param(date(2016, 7, 2), id="spent"),
        pytest.param(date(2026, 1, 1), id="years after the last reading"),
    ],
)
def test_windows_as_of_a_day_are_those_of_the_plain_rule(data: Path, as_of: date) -> None:
    assert found_windows(data, ALFALFA, as_of) == windows(ALFALFA, as_of)


def test_three_seasons_opened_during_a_gap(data: Path) -> None:
    found = found_windows(data, ALFALFA, ALFALFA.last_day)
    unseen = [(one.season, one.kind) for one in found if one.not_before < one.opened_on]
    assert unseen == [(2013, "spring"), (2014, "spring"), (2016, "spring")]


@pytest.fixture(scope="module")
def table(data: Path) -> str:
    """What `digseason windows` shows."""
    return digseason(data, "windows", "--as-of", ALFALFA.last_day)


@pytest.fixture(scope="module")
def mails(data: Path) -> dict[date, str]:
    """The mail of a round on each of three days, its lines joined."""
    texts = {}
    for as_of in UNSEEN:
        digseason(data, "round", "--as-of", as_of)
        newest = max((data / "outbox").glob("*.eml"))
        texts[as_of] = text_of(newest.read_bytes())
    return texts


@pytest.mark.parametrize("as_of", UNSEEN, ids=str)
def test_the_table_says_between_which_days_a_window_opened(table: str, as_of: date) -> None:
    assert UNSEEN[as_of][0] in table


@pytest.mark.parametrize("as_of", UNSEEN, ids=str)
def test_the_mail_says_between_which_days_a_window_opened(
    mails: dict[date, str], as_of: date
) -> None:
    assert UNSEEN[as_of][1] in mails[as_of]


@pytest.mark.parametrize(
    ("station", "site", "depth_cm", "column"),
    [(ALFALFA, "twitchell", 32, "TS_1_5_1"), (UTAH, "utah", 20, "TS_3_3_1")],
    ids=["twitchell", "utah"],
)
def test_the_study_of_open_data_has_the_windows_of_the_plain_rule_by_depth(
    data: Path, station: Station, site: str, depth_cm: int, column: str
) -> None:
    # what deploy/study reports, but for its pictures
    asked = "--by", "depth", "--site", site, "--depths", depth_cm, "--as-of", station.last_day
    found = [
        (int(row["season"]), row["kind"], row["after"], row["opened_on"], row["closed_on"])
        for row in csv.DictReader(digseason(data, "compare", *asked, "--csv").splitlines())
        if row["opened_on"]
    ]
    spans = windows(station, station.last_day, column)
    expected = [
        (
            season,
            kind,
            f"{first.not_before - timedelta(days=1)}",
            f"{first.opened_on}",
            f"{last.closed_on or ''}",
        )
        for (season, kind), of_window in groupby(spans, lambda one: (one.season, one.kind))
        for first, *_, last in [[*of_window] * 2]
    ]
    assert found == expected


def test_each_example_of_the_bench_answers_its_question(data: Path) -> None:
    hidden, thresholds, depths = (
        [line.split() for line in one.main(data).splitlines()]
        for one in (hidden_example, threshold_example, depth_lag_example)
    )
    # as SPANS says: "after" is the day before the first on which it may have opened
    assert [line[:4] for line in hidden[1:]] == [
        ["alfalfa", "2013", "2013-01-31", "2013-05-28"],
        ["alfalfa", "2014", "2014-05-01", "2014-05-25"],
        ["alfalfa", "2016", "2016-02-22", "2016-05-21"],
    ]
    # by hand: 29 April 2015 is day 119, 30 May 2025 day 150
    assert thresholds[2] == ["alfalfa", "2015", "112.0", "119.0", "122.0", "2.5"]
    assert thresholds[5] == ["profile", "2025", "149.0", "150.0", "151.0", "0.5"]
    # by hand: at 8 and 32 cm 23 and 30 April 2015, 3 and 6 May 2017, 5 and 9 May 2018
    assert ["32.0", "4.7", "2.1", "3"] in depths
