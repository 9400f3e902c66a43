"""Setting up: a farm file into the store, edited, retired and brought back."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, update

from probes.frames import SUSPECT
from service.farm.changes import Change, FieldChange
from service.farm.problems import FarmFileError
from service.intake.files import import_file
from service.store import tables
from service.store.engine import reading, writing
from tests import farms
from tests.farms import SET_UP_AT, news, set_up, stored_farm

pytestmark = pytest.mark.sqlite_by_day

FARM = farms.farm_text(depths_cm=[15])
LOGGER = 'layout = "plain"'
TWO_DAYS = "time,T15\n" + "".join(
    f"2026-01-{5 + hour // 24:02} {hour % 24:02}:00,{20 + (hour - 1) // 24}\n"
    for hour in range(1, 49)
)


def stretches(engine: Engine) -> list[tuple[str, date, float, float]]:
    """Return column, first day, depth and offset of every stretch."""
    stretch = tables.probe_stretch.c
    query = select(
        tables.probe.c.channel, stretch.valid_from, stretch.depth_cm, stretch.calibration_offset_c
    )
    query = query.join(tables.probe_stretch).order_by(tables.probe.c.channel, stretch.valid_from)
    with reading(engine) as connection:
        return [tuple(row) for row in connection.execute(query)]


def daily_means(engine: Engine) -> list[tuple[int, float | None, int, int]]:
    """Return day of January 2026, mean and slots of every daily mean."""
    daily = tables.daily_mean.c
    query = select(daily.day, daily.mean_c, daily.slots_present, daily.slots_in_day)
    with reading(engine) as connection:
        rows = connection.execute(query.order_by(daily.day)).all()
    return [(row.day.day, row.mean_c, row.slots_present, row.slots_in_day) for row in rows]


@pytest.fixture
def logged(engine: Engine, tmp_path: Path) -> Engine:
    """A store with a farm and two days of one probe: 20 °C all of 5 January, 21 °C the next."""
    set_up(engine, FARM)
    path = tmp_path / "u1.csv"
    path.write_text(TWO_DAYS)
    import_file(engine, "u1", path, SET_UP_AT)
    return engine


@pytest.mark.both_by_day
def test_the_first_file_adds_all_and_the_second_time_nothing_changes(engine):
    first, second = set_up(engine, FARM), set_up(engine, FARM)

    assert [change.what for change in first] == ["added"] * 7
    assert [change.what for change in second] == ["unchanged"] * 7


@pytest.mark.both_by_day
def test_an_edit_is_stored_and_told_as_old_and_new(engine):
    set_up(engine, FARM)
    edited = FARM.replace('name = "Terrace 7"', 'name = "Terrace 7"\nroot_zone_cm = [10, 40]')
    changes = [change for change in set_up(engine, edited) if change.what == "changed"]

    assert changes == [
        Change(
            "changed",
            "block",
            "terrace-7",
            (FieldChange("root_zone_cm", "[15, 45]", "[10, 40]", ""),),
        )
    ]
    assert stored_farm(engine).block["terrace-7"].root_zone_cm == (10, 40)


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        (
            'clock = "UTC+10:00"',
            'clock = "Australia/Sydney"',
            FieldChange(
                "clock",
                '"UTC+10:00"',
                '"Australia/Sydney"',
                "files already imported keep the old clock, until `digseason imports reread`",
            ),
        ),
        (
            'unit = "C"',
            'unit = "F"',
            FieldChange(
                "unit",
                '"C"',
                '"F"',
                "files already imported keep the old unit, until `digseason imports reread`",
            ),
        ),
        ('"T15" = 15', '"T15" = 20', FieldChange("columns.T15", "15", "20", "")),
        (
            "elevation_m = 720",
            'checks = "range-only"\nelevation_m = 720',
            FieldChange("checks", '"standard"', '"range-only"', ""),
        ),
        ("elevation_m = 720", "", FieldChange("elevation_m", "720", "none", "")),
        (
            "elevation_m = 720",
            'elevation_m = 720\nutc_offset = "UTC+11:00"',
            FieldChange("utc_offset", '"UTC+10:00"', '"UTC+11:00"', ""),
        ),
        (
            LOGGER,
            f'{LOGGER}\nprobes = [{{ column = "T15", depth_cm = 12 }}]',
            FieldChange("probes", "[]", '[{ column = "T15", depth_cm = 12 }]', ""),
        ),
    ],
    ids=lambda text: text[:30] if isinstance(text, str) else text.key,
)
def test_a_change_says_what_it_does_not_reach(engine, old, new, field):
    set_up(engine, FARM)
    changes = set_up(engine, FARM.replace(old, new))

    assert [change.fields for change in changes if change.what == "changed"] == [(field,)]


def test_what_the_file_leaves_out_is_reported_and_stays_active(engine):
    set_up(engine, farms.TWO_BLOCKS)

    assert news(set_up(engine, farms.ONE_OF_TWO)) == [("missing", "block", "ledge")]
    assert set(stored_farm(engine).block) == {"terrace-7", "ledge"}


@pytest.mark.both_by_day
def test_what_is_retired_is_kept_and_no_longer_active_nor_reported(engine):
    set_up(engine, farms.TWO_BLOCKS)
    retired = set_up(engine, farms.ONE_OF_TWO, retire=True)
    with reading(engine) as connection:
        query = select(tables.block.c.id, tables.block.c.retired_at).order_by(tables.block.c.id)
        rows = [tuple(row) for row in connection.execute(query)]

    assert news(retired) == [("retired", "block", "ledge")]
    assert rows == [("ledge", SET_UP_AT), ("terrace-7", None)]
    assert news(set_up(engine, farms.ONE_OF_TWO)) == []


@pytest.mark.both_by_day
def test_what_stands_in_the_file_again_returns_with_its_changes(engine):
    set_up(engine, farms.TWO_BLOCKS)
    set_up(engine, farms.ONE_OF_TWO, retire=True)
    changes = set_up(engine, farms.TWO_BLOCKS.replace('"Ledge"', '"The Ledge"'))

    assert news(changes) == [("returned", "block", "ledge")]
    assert stored_farm(engine).block["ledge"].name == "The Ledge"


def test_a_file_that_does_not_fit_what_it_leaves_out_is_refused_whole(engine):
    set_up(engine, farms.TWO_BLOCKS)
    before = stored_farm(engine)
    with pytest.raises(FarmFileError) as caught:
        set_up(engine, FARM.replace("720", "700"))

    assert caught.value.lines == (
        '[[block]] "terrace-7": probes is missing, and site "upper" has 2 blocks; '
        'write probes = ["u1:15"], or those of them that serve it; where none does, borrow = true',
        'left out of the file and still active: [[block]] "ledge"; '
        "put back what is needed, or retire it with --retire",
    )
    assert stored_farm(engine) == before


def test_a_file_that_does_not_fit_what_it_leaves_out_is_taken_with_retire(engine):
    set_up(engine, farms.TWO_BLOCKS)

    assert news(set_up(engine, FARM, retire=True)) == [
        ("changed", "block", "terrace-7"),
        ("retired", "block", "ledge"),
    ]


@pytest.mark.parametrize(
    ("zone", "offset_min"),
    [
        ("Australia/Sydney", 600),  # UTC+11 in January, UTC+10 in July
        ("America/Los_Angeles", -480),  # UTC-8 in January, UTC-7 in July
        ("Europe/Dublin", 0),  # UTC in January, UTC+1 in July, which the zone calls its standard
        ("Asia/Kolkata", 330),
    ],
)  # from memory: the zones' offsets
def test_a_day_begins_at_midnight_of_the_zones_more_westerly_offset(engine, zone, offset_min):
    set_up(engine, FARM.replace("Australia/Sydney", zone))
    with reading(engine) as connection:
        assert connection.scalar(select(tables.site.c.utc_offset_min)) == offset_min


def test_every_column_has_a_stretch_from_the_first_reading_at_its_layouts_depth(engine):
    set_up(engine, farms.farm_text(depths_cm=[15, 30]))

    assert stretches(engine) == [("T15", date.min, 15, 0), ("T30", date.min, 30, 0)]


def ends(engine):
    """Return the column and the end of each stretch."""
    probe, stretch = tables.probe, tables.probe_stretch
    query = select(probe.c.channel, stretch.c.until).join(stretch).order_by(probe.c.channel)
    with reading(engine) as connection:
        return [tuple(row) for row in connection.execute(query)]


def test_a_history_becomes_the_stretches_of_its_column_alone(engine):
    entries = """probes = [
        { column = "T15", depth_cm = 15, valid_from = 2024-05-01 },
        { column = "T15", depth_cm = 12, valid_from = 2025-03-02, calibration_offset_c = -0.2 },
    ]"""
    text = farms.farm_text(depths_cm=[15, 30])
    set_up(engine, text.replace(LOGGER, f"{LOGGER}\n{entries}"))

    assert stretches(engine) == [
        ("T15", date(2024, 5, 1), 15, 0),
        ("T15", date(2025, 3, 2), 12, -0.2),
        ("T30", date.min, 30, 0),
    ]


@pytest.mark.both_by_day
def test_a_column_that_leaves_the_layout_counts_until_then_and_comes_back(logged):
    other = FARM.replace('"T15" = 15', '"T16" = 16')
    (changed,) = (one for one in set_up(logged, other) if one.table == "logger")
    without = ends(logged)
    again = set_up(logged, other)
    set_up(logged, FARM)

    # by hand: it is set up on 1 March 2026 UTC, 23:00 at the site; that day still counts
    assert without == [("T15", date(2026, 3, 2)), ("T16", None)]
    assert [field.key for field in changed.fields] == ["probes"]
    assert news(again) == []
    assert ends(logged) == [("T15", None)]  # T16 has never said anything


# by hand: 24 hours of 20 °C, then 24 of 21 °C; an offset an hour further west puts the first hour
# of each day into the day before
@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            LOGGER,
            f'{LOGGER}\nprobes = [{{ column = "T15", depth_cm = 15, calibration_offset_c = 0.5 }}]',
            [(5, 20.5, 24, 24), (6, 21.5, 24, 24)],
        ),
        (
            LOGGER,
            f'{LOGGER}\nprobes = [{{ column = "T15", depth_cm = 15, valid_from = 2026-01-06 }}]',
            [(6, 21.0, 24, 24)],
        ),
        (
            "elevation_m = 720",
            'elevation_m = 720\nutc_offset = "UTC+09:00"',
            [(4, 20.0, 1, 24), (5, 20 + 1 / 24, 24, 24), (6, 21.0, 23, 24)],
        ),
        ("interval_min = 60", "interval_min = 120", [(5, 20.0, 12, 12), (6, 21.0, 12, 12)]),
    ],
    ids=["calibration offset", "buried later", "day begins elsewhere", "interval"],
)
def test_what_the_daily_means_rest_on_computes_them_again(logged, old, new, expected):
    set_up(logged, FARM.replace(old, new))

    assert daily_means(logged) == [pytest.approx(day, abs=1e-9) for day in expected]  # °C


def test_suspect_readings_count_once_the_site_uses_them(logged):
    with writing(logged) as connection:
        connection.execute(update(tables.reading).values(flag=SUSPECT))
    set_up(logged, FARM.replace("elevation_m", "use_suspect = true\nelevation_m"))
    used = daily_means(logged)
    set_up(logged, FARM)

    assert [mean_c for _, mean_c, _, _ in used] == [20.0, 21.0]
    assert [mean_c for _, mean_c, _, _ in daily_means(logged)] == [None, None]


def test_an_edit_that_the_daily_means_do_not_rest_on_leaves_them_alone(logged):
    with writing(logged) as connection:
        connection.execute(update(tables.daily_mean).values(mean_c=-1))
    set_up(logged, FARM.replace("720", "700").replace('unit = "C"', 'unit = "F"'))

    assert [mean_c for _, mean_c, _, _ in daily_means(logged)] == [-1, -1]
