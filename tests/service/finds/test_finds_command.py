"""digseason finds: records and tables in, lists and tables out, photos with them."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from service.store.engine import open_engine, writing
from tests.commands import run
from tests.planted import plant_block

Digseason = Callable[..., tuple[int, str]]

ADD = ("--block", "terrace-7", "--row", 3, "--vine", 12, "--on", "2025-05-06", "--by", "Ada")
SEEN = ("--roots", "fine", "--swellings", "pale", "--insects", "few")
NOTHING = ("--roots", "none", "--swellings", "none", "--insects", "none")
TABLE = """block;row;vine;dug_on;person;roots;swellings;insects;depth_cm;by_lot
terrace-7;1;4;2025-05-06;Ada;fine;none;none;32,5;yes
terrace-7;1;z;06.05.2025;Ada;fine;lots;none;;yes
terrace-7;1;4;2025-05-06;Ada;coarse;none;some;;yes
terrace-7;1
terrace-7;1;9;2025-05-06;Ada;none;none;none;;yes
"""


@pytest.fixture
def digseason(sqlite_template: Path, tmp_path: Path) -> Digseason:
    url = f"sqlite:///{shutil.copy(sqlite_template, tmp_path)}"
    engine = open_engine(url)
    with writing(engine) as connection:
        plant_block(connection)
    engine.dispose()
    return lambda *words: run(tmp_path, *words, database_url=url)


def listed(digseason: Digseason, *more: object) -> list[dict[str, object]]:
    return json.loads(digseason("finds", "list", "--json", *more)[1])


def test_a_suspicion_is_kept_told_with_what_follows_and_corrected(digseason: Digseason) -> None:
    code, told = digseason("finds", "add", *ADD, *SEEN)
    assert (code, "new: " in told, "phylloxera suspected" in told) == (0, True, True)
    said = " ".join(told.split())
    assert "only a specialist who has seen a specimen can confirm it" in said
    assert "Local rules may require a report" in said
    assert digseason("finds", "add", *ADD, *SEEN)[1].startswith("known: ")
    corrected = digseason("finds", "add", *ADD, *NOTHING)[1]
    assert corrected.startswith("corrected: ")
    assert "nothing follows from what was not seen" in " ".join(corrected.split())
    (one,) = listed(digseason)
    assert (one["row"], one["vine"], one["outcome"]) == (3, 12, "no live roots")


def test_what_is_wrong_is_told_by_its_option(digseason: Digseason) -> None:
    code, told = digseason("finds", "add", *ADD, *SEEN, "--row", "x", "--depth", "deep")
    assert code == 2
    assert "--row: 'x' is no whole number; write it like 12" in told
    assert "--depth: 'deep' is no number" in told
    assert listed(digseason) == []


def test_a_table_counts_once_and_its_bad_lines_are_told(
    digseason: Digseason, tmp_path: Path
) -> None:
    table = tmp_path / "digs.csv"
    table.write_text(TABLE, "utf-8")
    code, told = digseason("finds", "import", table, "--by", "Ada")
    said = " ".join(told.split())
    assert (code, told.splitlines()[0]) == (1, "2 new, 3 refused")
    assert "line 3: vine: 'z' is no whole number; write it like 12; dug_on: '06.05.2025'" in said
    assert "line 4: 'row 1, vine 4' stands in line 2 already" in said
    assert "line 5: it has 2 cells, the header has 10 names" in said
    assert digseason("finds", "import", table, "--by", "Ada")[1].startswith("0 new, 2 known, 3 ref")
    code, told = digseason("finds", "import", table.with_name("none.csv"), "--by", "Ada")
    assert (code, "does not exist" in told) == (2, True)


def test_the_list_fits_80_columns_and_never_calls_a_block_clean(
    digseason: Digseason, tmp_path: Path
) -> None:
    table = tmp_path / "digs.csv"
    table.write_text(TABLE, "utf-8")
    digseason("finds", "import", table, "--by", "Ada")
    _, told = digseason("finds", "list")
    assert max(map(len, told.splitlines())) <= 80
    assert "2 vines dug: 1 not found, 1 no live roots" in told
    assert "A dig without a find is weak evidence" in told
    assert not {"clean", "safe", "low-risk"} & set(told.split())
    assert listed(digseason, "--season", 2024) == []
    assert len(listed(digseason, "--season", 2025, "--block", "terrace-7")) == 2


def test_what_is_exported_is_imported_again(digseason: Digseason, tmp_path: Path) -> None:
    digseason("finds", "add", *ADD, *SEEN, "--note", 'a "quoted", note', "--mark", "tape")
    out = tmp_path / "out" / "finds.csv"
    assert digseason("finds", "export", "--out", out)[0] == 0
    assert digseason("finds", "import", out, "--by", "Ben")[1].startswith("0 new, 1 known, 0 ref")
    assert out.read_text("utf-8") == digseason("finds", "export")[1]
    (row,) = csv.DictReader(io.StringIO(digseason("finds", "list", "--csv")[1]))
    assert (row["note"], row["insects"], row["outcome"]) == ('a "quoted", note', "few", "suspected")


def test_a_withdrawn_record_counts_no_more_and_says_so_when_it_is_brought_again(
    digseason: Digseason,
) -> None:
    digseason("finds", "add", *ADD, *SEEN)
    (one,) = listed(digseason)
    withdraw = ("finds", "withdraw", str(one["record_id"])[:8], "--by", "Ada", "--why", "wrong row")
    assert digseason(*withdraw)[0] == 0
    assert listed(digseason) == []
    assert "withdrawn already" in digseason(*withdraw)[1]
    assert digseason("finds", "add", *ADD, *SEEN)[1].startswith("withdrawn: ")
    assert "no record begins with 'zz'" in digseason("finds", "withdraw", "zz", *withdraw[3:])[1]


def test_photos_are_kept_once_and_written_out(digseason: Digseason, tmp_path: Path) -> None:
    photo, text = tmp_path / "roots.png", tmp_path / "roots.jpg"
    Image.new("RGB", (30, 20), "brown").save(photo)
    text.write_text("no picture")
    code, told = digseason("finds", "add", *ADD, *SEEN, "--photo", text)
    assert (code, "cannot be read as JPEG, PNG or WebP" in " ".join(told.split())) == (2, True)
    assert listed(digseason) == []
    assert "1 photo kept with it" in digseason("finds", "add", *ADD, *SEEN, "--photo", photo)[1]
    (one,) = listed(digseason)
    start = str(one["record_id"])[:8]
    again = digseason("finds", "photo", start, photo, "--by", "Ada")
    assert again == (0, "0 photos kept, 1 known already\n")
    digseason("finds", "export", "--photos", tmp_path / "photos")
    (written,) = (tmp_path / "photos").iterdir()
    with Image.open(written) as image:
        assert image.size == (30, 20)
    assert listed(digseason)[0]["photos"] == 1
