"""The farm file: what is read, and how all that is wrong with it is said at once."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probes.clock import Clock
from probes.layouts import Layout
from service.farm.layouts import layout_from_spec, layout_spec, probe_history
from service.farm.logger_tables import ProbeEntry
from service.farm.models import TABLES, Farm
from service.farm.problems import FarmFileError
from service.farm.read import farm_from_tables, read_farm_file
from service.farm.text import NAMED, pair_text
from service.farm.values import FROM_FIRST_READING
from service.intake.new_loggers import read_layout
from tests.farms import CHECKS, RULE, STATION, THERMOMETER, farm_text

EXAMPLE = Path(__file__).parents[2] / "service" / "farm" / "example.toml"
PROBLEMS = Path(__file__).with_name("farm_problems.txt").read_text(encoding="utf-8")

SECOND_BLOCK = '[[block]]\nid = "terrace-8"\nsite = "upper"\nname = "Terrace 8"\n'


@pytest.mark.parametrize("deep", ["[" * 5000, "{a=" * 5000])
def test_what_stands_too_deep_within_itself_is_refused(tmp_path: Path, deep: str) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(f"x = {deep}", encoding="utf-8")
    with pytest.raises(FarmFileError, match="within each other too deep"):
        read_farm_file(path)
    with pytest.raises(FarmFileError, match="skip"):
        read_layout({"skip": deep})


def farm_of(text: str) -> Farm:
    """Return the farm of a farm file that is right."""
    return farm_from_tables(tomllib.loads(text))


def problems_of(tables: dict[str, Any]) -> list[str]:
    """Return the lines that say what is wrong with a farm file."""
    with pytest.raises(FarmFileError) as caught:
        farm_from_tables(tables)
    return list(caught.value.lines)


def problems_of_file(path: Path, content: bytes) -> list[str]:
    """Return the lines that say why a file cannot be read."""
    path.write_bytes(content)
    with pytest.raises(FarmFileError) as caught:
        read_farm_file(path)
    return list(caught.value.lines)


def one_table(tables: dict[str, Any], kind: str) -> dict[str, Any]:
    """Return the first table of a kind in the farm file of the tests."""
    if kind in NAMED:
        return next(iter(tables[kind].values()))
    return tables[kind][0]


@pytest.mark.parametrize(
    ("edit", "problem"),
    [case.split("\n") for case in PROBLEMS.rstrip().split("\n\n")],
    ids=lambda text: text.partition(": ")[2][:40],
)
def test_a_wrong_key_is_named_with_its_table_its_value_and_the_remedy(edit, problem):
    tables = tomllib.loads(farm_text(more=STATION + RULE + CHECKS + THERMOMETER))
    kind, _, line = edit.partition(": ")
    if line.endswith(" ="):
        del one_table(tables, kind)[line.removesuffix(" =")]
    else:
        one_table(tables, kind).update(tomllib.loads(line))

    assert problems_of(tables) == [problem]


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        (
            "[[district]]",
            "[district]",
            "district: not written as a table; write it below [[district]]",
        ),
        (
            "[layout.plain]",
            "[layout]",
            "layout: not written as a table; write it below [layout.NAME]",
        ),
        (
            '[organisation]\nname = "Merrin Valley Growers"',
            "",
            "[organisation] is missing; add it, with a name",
        ),
        (
            "[organisation]",
            'country = "au"\n[organisation]',
            'country = "au": stands in no table; move it below the one it belongs to',
        ),
        (
            "[[recipient]]",
            '[[recipients]]\nname = "Ben"\n[[recipient]]',
            "[[recipients]]: no such table; did you mean [[recipient]]?",
        ),
        (
            "[[recipient]]",
            "[vine.old]\nplanted = 1998\n[[recipient]]",
            "[vine]: no such table; the tables are [organisation], [[district]], [[site]], "
            "[checks.NAME], [rule.NAME], [[block]], [layout.NAME], [[logger]], [[station]], "
            "[[thermometer]], [[recipient]]",
        ),
        (
            "[[logger]]",
            f"{SECOND_BLOCK.replace('terrace-8', 'terrace-7')}[[logger]]",
            '[[block]] "terrace-7": stands twice; give each its own id',
        ),
        (
            "[layout.plain]",
            '[layout."the plain one"]\n[layout.plain]',
            '[layout."the plain one"]: '
            'write letters a-z, digits, "-", "_" or ".", beginning with a letter or digit',
        ),
        (
            "[[logger]]",
            SECOND_BLOCK.replace('"upper"', '"upper"\nprobes = ["u1:15"]') + "[[logger]]",
            '[[block]] "terrace-7": probes is missing, and site "upper" has 2 blocks; '
            'write probes = ["u1:15", "u1:30", "u1:45"], or those of them that serve it; '
            "where none does, borrow = true",
        ),
    ],
    ids=lambda text: text[:40],
)
def test_a_wrong_table_is_named_with_the_remedy(old, new, problem):
    assert problems_of(tomllib.loads(farm_text().replace(old, new))) == [problem]


def test_a_site_that_the_file_does_not_have_at_all_is_to_be_added():
    tables = tomllib.loads(farm_text())
    del tables["district"]

    assert problems_of(tables) == [
        '[[site]] "upper": district = "merrin": no such [[district]]; the file has none yet; add it'
    ]


def test_all_that_is_wrong_is_said_at_once_tables_first_and_then_what_they_say_of_each_other():
    tables = tomllib.loads(farm_text(more="[[blok]]"))
    one_table(tables, "recipient")["blocks"] = ["terrace-8"]
    one_table(tables, "layout").update(unit="K", skip="2")
    one_table(tables, "site").update(latitude=133)

    assert [problem.partition(" = ")[0] for problem in problems_of(tables)] == [
        "[[blok]]: no such table; did you mean [[block]]?",
        '[[site]] "upper": latitude',
        "[layout.plain]: unit",
        "[layout.plain]: skip",
        '[[recipient]] "Ada Example": blocks holds "terrace-8": no such [[block]]; '
        'write "terrace-7"',
    ]


@pytest.mark.parametrize("kind", ["district", "site", "block", "layout", "logger"])
def test_what_refers_to_a_table_with_errors_is_not_blamed_for_them(kind):
    tables = tomllib.loads(farm_text())
    one_table(tables, "block")["probes"] = ["u1:15"]
    one_table(tables, "recipient")["blocks"] = ["terrace-7"]
    one_table(tables, kind)["wind"] = 7

    assert [problem.partition(": ")[2][:8] for problem in problems_of(tables)] == ["wind = 7"]


def test_the_number_of_a_phone_may_be_written_as_people_do():
    tables = tomllib.loads(farm_text())
    one_table(tables, "recipient")["phone"] = "+61 (491) 570-156"
    (person,) = farm_from_tables(tables).recipient.values()
    assert person.phone == "+61491570156"  # source: [E-164]


def test_a_table_that_does_not_say_its_id_is_not_offered_as_one_to_refer_to():
    tables = tomllib.loads(farm_text())
    del one_table(tables, "site")["id"]

    assert problems_of(tables) == [
        '[[site]] no. 1: id is missing; write id = "upper"',
        '[[block]] "terrace-7": site = "upper": no such [[site]]; the file has none yet; add it',
        '[[logger]] "u1": site = "upper": no such [[site]]; the file has none yet; add it',
    ]


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (
            b"[organisation]\nname = Merrin\n",
            "line 2, column 8: name = Merrin: Invalid value; "
            "texts stand in quotes, lists in square brackets, a key once in its table",
        ),
        (
            b'[organisation]\nname = "Merrin"\nname = "Merrin"\n',
            'line 3, column 16: name = "Merrin": Cannot overwrite a value; '
            "texts stand in quotes, lists in square brackets, a key once in its table",
        ),
        (
            b"[organisation]\nname = [\n",
            "last line: Invalid value (at end of document); something opened above is not closed",
        ),
        (
            '[organisation]\nname = "Peñón"\n'.encode("cp1252"),
            "line 2: not UTF-8; save the file as UTF-8",
        ),
    ],
    ids=["no quotes", "twice", "not closed", "not UTF-8"],
)
def test_a_file_that_is_no_toml_is_refused_with_the_line(tmp_path, content, problem):
    assert problems_of_file(tmp_path / "farm.toml", content) == [problem]


def test_a_byte_order_mark_does_no_harm(tmp_path):
    path = tmp_path / "farm.toml"
    path.write_bytes(b"\xef\xbb\xbf" + farm_text().encode())

    assert read_farm_file(path) == farm_of(farm_text())


toml_values = st.recursive(
    st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text() | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
)


@given(data=st.data(), value=toml_values)
def test_no_value_in_any_place_is_more_than_an_error_of_the_file(data, value):
    tables = tomllib.loads(farm_text(more=STATION + RULE + CHECKS + THERMOMETER))
    kind = data.draw(st.sampled_from(["top", *TABLES]))
    if kind == "top":
        tables[data.draw(st.sampled_from([*TABLES, "station"]))] = value
    else:
        table = tables[kind] if kind == "organisation" else one_table(tables, kind)
        table[data.draw(st.sampled_from([*TABLES[kind].model_fields, "more"]))] = value

    try:
        problems = []
        farm_from_tables(tables)
    except FarmFileError as error:
        problems = error.lines

    assert all(problems)


@given(key=st.text(), value=toml_values)
def test_what_is_written_as_toml_is_read_as_it_was(key, value):
    assert tomllib.loads(pair_text(key, value)) == {key: value}


def test_the_example_is_valid_and_shows_every_key():
    tables = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    assert farm_from_tables(tables).organisation is not None
    tables |= {kind: list(tables[kind].values()) for kind in NAMED}
    shown = {
        kind: {key for table in tables[kind] for key in table}
        for kind in TABLES
        if kind != "organisation"
    }
    assert shown == {
        kind: set(model.model_fields) for kind, model in TABLES.items() if kind != "organisation"
    }


EXAMPLE_LAYOUTS = {
    "plain": Layout(
        name="plain",
        clock=Clock("UTC+10:00", 600, None),
        time=("Date", "Time"),
        time_format="%Y-%m-%d %H:%M",
        stamp="end",
        interval_min=60,
        unit="C",
        columns={"T1": 15, "T2": 30},
        missing=("", "-999"),
        skip=2,
        sheet="Data",
    ),
    "long": Layout(
        name="long",
        clock=Clock("stamp", 0, None),
        time=("when",),
        time_format="iso8601",
        stamp="instant",
        interval_min=60,
        unit="C",
        columns={"0.15": 15, "0.3": 30},
        depth="depth_m",
        value="temp",
        logger="device",
        missing={"0.15": ("-127",), "*": ("",)},
    ),
}


@pytest.mark.parametrize("name", EXAMPLE_LAYOUTS)
def test_a_layout_is_the_same_after_a_stay_in_the_store(name):
    tables = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    spec = json.loads(json.dumps(layout_spec(farm_from_tables(tables).layout[name])))

    assert layout_from_spec(name, spec) == EXAMPLE_LAYOUTS[name]


def test_one_time_column_needs_no_brackets_and_a_missing_code_no_quotes():
    tables = tomllib.loads(farm_text())
    tables["layout"]["plain"]["missing"] = [-999, -99.9]
    layout = farm_from_tables(tables).layout["plain"]

    assert (layout.time, layout.missing) == (("time",), ("-999", "-99.9"))


def test_a_column_without_entry_lies_at_its_layouts_depth_from_the_first_reading():
    farm = farm_of(farm_text(depths_cm=[15]))

    assert probe_history(farm.logger["u1"], farm.layout["plain"]) == {
        "T15": (ProbeEntry(column="T15", depth_cm=15, valid_from=FROM_FIRST_READING),)
    }


def test_the_entries_of_a_column_are_its_whole_history_in_order_of_time():
    tables = tomllib.loads(farm_text(depths_cm=[15]))
    late = {"column": "T15", "depth_cm": 12, "valid_from": date(2025, 3, 2)}
    early = {"column": "T15", "depth_cm": 15, "valid_from": date(2024, 3, 2)}
    one_table(tables, "logger")["probes"] = [late, early]
    farm = farm_from_tables(tables)

    assert probe_history(farm.logger["u1"], farm.layout["plain"]) == {
        "T15": (ProbeEntry(**early), ProbeEntry(**late))
    }


def test_a_farm_file_without_layouts_says_what_else_it_lacks() -> None:
    with pytest.raises(FarmFileError) as refused:
        farm_from_tables({"site": [{"id": "upper", "name": "Upper"}]})
    first, second = refused.value.lines[:2]
    assert first.startswith("[organisation] is missing")
    assert second.startswith('[[site]] "upper": timezone')
    assert farm_from_tables({"organisation": {"name": "Alder"}}).layout == {}
