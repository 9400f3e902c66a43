"""The store written back as a farm file."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.farm.export import farm_text
from tests import farms
from tests.farms import news, set_up, stored_farm

ROOT = Path(__file__).parents[2]
FARM = farms.farm_text(depths_cm=[15])
LOGGER = 'layout = "plain"'


def test_the_order_of_lists_and_entries_that_say_what_the_layout_says_change_nothing(engine):
    names, ids = '"u1:15", "u1:30"', '"ledge", "terrace-7"'
    text = farms.TWO_BLOCKS.replace('"T15" = 15', '"T15" = 15, "T30" = 30')
    text = text.replace('["u1:15"]', f"[{names}]").replace(
        'role = "grower"', f'role = "grower"\nblocks = [{ids}]'
    )
    set_up(engine, text)
    other = text.replace(names, '"u1:30", "u1:15"').replace(ids, '"terrace-7", "ledge"')
    entry = 'probes = [{ column = "T30", depth_cm = 30 }]'

    assert news(set_up(engine, other.replace(LOGGER, f"{LOGGER}\n{entry}"))) == []


def test_an_export_is_written_as_a_person_would(engine):
    entries = """probes = [
    { column = "T15", depth_cm = 15, calibration_offset_c = 0.25 },
    { column = "T15", depth_cm = 12.5, valid_from = 2025-03-02 },
]
"""
    layout = 'missing = ["", "s/d"]\ndelimiter = "\\t"\n'
    text = FARM.replace(LOGGER, f"{LOGGER}\n{entries}")
    set_up(engine, text.replace("[layout.plain]", f"[layout.plain]\n{layout}"))

    assert (
        farm_text(stored_farm(engine)).partition("[[block]]")[2]
        == f"""
id = "terrace-7"
site = "upper"
name = "Terrace 7"

[layout.plain]
clock = "UTC+10:00"
time = "time"
time_format = "%Y-%m-%d %H:%M"
stamp = "end"
interval_min = 60
unit = "C"
columns = {{ T15 = 15 }}
{layout}
[[logger]]
id = "u1"
site = "upper"
layout = "plain"
{entries}
[[recipient]]
name = "Ada Example"
role = "grower"
email = "ada@example.org"
channels = ["mail"]
"""
    )


@pytest.mark.parametrize(
    "text",
    [
        farms.farm_text(),
        farms.farm_text(north=True, unit="F", interval_min=15),
        (ROOT / "service" / "farm" / "example.toml").read_text(encoding="utf-8"),
        (ROOT / "sample_logs" / "farm.toml").read_text(encoding="utf-8"),
    ],
    ids=["south", "north", "example", "sample"],
)
def test_what_is_exported_changes_nothing_and_is_exported_again_as_it_is(engine, text):
    set_up(engine, text)
    exported = farm_text(stored_farm(engine))

    assert news(set_up(engine, exported)) == []
    assert farm_text(stored_farm(engine)) == exported
