"""digseason soil, on the sample logs, whose soil is known."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.end_to_end.test_sample_logs import LOGS, digseason, import_files

AS_OF = ("--as-of", "2026-02-01")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The samples of one logger, at 10, 30 and 60 cm."""
    folder = tmp_path_factory.mktemp("soil")
    digseason(folder, "setup", LOGS / "farm.toml")
    import_files(folder, "DT-2", sorted(LOGS.glob("DT-2_*")), 1)
    return folder


def test_the_table_tells_waves_and_layers_within_80_columns(data: Path) -> None:
    printed = digseason(data, "soil", "--block", "hedge-side", *AS_OF, "--unit", "C")
    assert max(map(len, printed.splitlines())) <= 80
    assert "warmest" in printed
    assert "10-30 cm" in printed


def test_it_recommends_carrying_where_the_deepest_probe_is_too_shallow(data: Path) -> None:
    printed = " ".join(digseason(data, "soil", "--block", "hedge-side", *AS_OF).split())
    assert "The deepest probe lies 15 cm above the bottom of the root zone" in printed
    assert "carry = true and diffusivity_mm2_s = 0.50 in its [[block]]" in printed


def test_setup_recommends_it_as_well_when_the_block_is_new(tmp_path: Path) -> None:
    printed = " ".join(digseason(tmp_path, "setup", LOGS / "farm.toml").split())
    assert "Block hedge-side: 15 cm of its root zone lie below its deepest probe" in printed
    assert "Block terrace-7:" not in printed


def test_setup_says_that_a_deep_block_is_not_carried(tmp_path: Path) -> None:
    farm = tmp_path / "farm.toml"
    named = 'name = "Terrace 7"'
    farm.write_text((LOGS / "farm.toml").read_text().replace(named, f"{named}\ncarry = true"))
    printed = " ".join(digseason(tmp_path / "data", "setup", farm).split())
    assert "Block terrace-7: carry = true changes nothing" in printed


def test_json_and_csv_tell_a_depth_and_a_layer_each(data: Path) -> None:
    records = json.loads(digseason(data, "soil", "--block", "hedge-side", *AS_OF, "--json"))
    rows = list(
        csv.DictReader(
            io.StringIO(digseason(data, "soil", "--block", "hedge-side", *AS_OF, "--csv"))
        )
    )
    assert [(one["upper_cm"], one["lower_cm"]) for one in records] == [
        (10, None),
        (30, None),
        (10, 30),
    ]
    assert len(rows) == 3
    # sample_logs/make.py conducts heat at 0.5 mm2/s
    assert records[2]["median_mm2_s"] == pytest.approx(0.5, rel=0.05)
    assert 1 < records[2]["disagreement"] < 1.5


def test_a_block_without_readings_says_so(data: Path) -> None:
    assert digseason(data, "soil", "--block", "crown") == "Crown (crown): no readings yet\n"


def test_an_unknown_block_is_wrong_use(data: Path) -> None:
    assert digseason(data, "soil", "--block", "nowhere", exit_code=2) == ""
