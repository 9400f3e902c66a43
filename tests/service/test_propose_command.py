"""digseason propose: a layout to paste, its evidence, its doubts, its exit codes."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from service.cli import main
from service.farm.layout_tables import LayoutTable
from tests.commands import digseason
from tests.corpus import CASES, CORPUS, Case
from tests.farms import farm_text

NO_DATA = CORPUS / "no-data"


def propose(name: str, *words: str, data: Path = NO_DATA) -> tuple[int, str]:
    """Propose a layout for a file of the corpus; return exit code and what is printed."""
    result = CliRunner().invoke(main, ["--data", str(data), "propose", str(CORPUS / name), *words])
    return result.exit_code, result.output


def said(text: str) -> str:
    """Return what comments say, without their line ends."""
    return " ".join(text.replace("#  ", "").split())


def test_what_is_found_is_a_layout_once_a_person_adds_what_no_file_says() -> None:
    code, text = propose("semicolon_decimal_comma.csv")
    table = tomllib.loads(text)["layout"]["new"]
    assert code == 0
    assert set(LayoutTable.model_fields) - set(table) >= {"clock", "stamp"}
    layout = LayoutTable.model_validate(table | {"clock": "UTC-08:00", "stamp": "end"})
    assert (layout.delimiter, layout.decimal, layout.time) == (";", ",", ("Time",))


DECIDED = [case for case in CASES if not {"refused", "open", "not_proposed"} & set(case.spec)]


@pytest.mark.parametrize("case", DECIDED, ids=lambda case: case.path.name)
def test_the_farm_file_takes_every_layout_that_is_proposed(case: Case) -> None:
    _, text = propose(case.path.name)
    table = {"clock": "UTC", "stamp": "end"} | tomllib.loads(text)["layout"]["new"]
    assert LayoutTable.model_validate(table).columns


def test_each_key_has_its_evidence_beside_it() -> None:
    _, text = propose("comma.csv")
    assert "unit = \"C\"  # header 'Soil 10 cm (degC)'" in text
    assert (
        "# undecided, yours to state: clock: --site or --zone says where the logger stands; an "
        'example: clock = "UTC-08:00"'
    ) in said(text)


def test_the_whole_file_is_read_by_the_proposal_to_show_what_it_gives() -> None:
    _, text = propose("step_back.csv")
    assert "# read so: 10 readings kept, 0 missing, 2 rejected" in text
    assert "# rejected, line 5: 2025-04-12 04:00 UTC stands out of order" in text


def test_an_undecided_key_is_a_comment_and_ends_with_1() -> None:
    code, text = propose("day_or_month.csv")
    assert code == 1
    assert '# undecided: time_format = "%d/%m/%Y %H:%M": or "%m/%d/%Y %H:%M"' in text
    assert "time_format" not in tomllib.loads(text)["layout"]["new"]


def test_json_says_the_same() -> None:
    code, text = propose("day_or_month.csv", "--json")
    answer = json.loads(text)
    assert (code, answer["decided"], answer["trial"]["kept"]) == (1, False, 12)
    assert answer["layout"]["interval_min"] == 60
    assert [each["key"] for each in answer["findings"] if each["certainty"] == "undecided"] == [
        "time_format"
    ]


def test_values_of_common_digital_sensors_are_named_and_85_is_left_in() -> None:
    text = said(propose("sentinels.csv")[1])
    assert "(-127 °C: a broken line of common digital sensors)" in text
    assert "85 °C stands there once" in propose("power_on.csv")[1]


def test_a_file_of_which_nothing_can_be_made_ends_with_1_and_says_why() -> None:
    code, text = propose("gzip_bomb.gz")
    assert code == 1
    assert "expands more than 200-fold" in text


@pytest.mark.parametrize("words", [[], ["nowhere.csv"]], ids=["no file", "a file that is not"])
def test_wrong_use_ends_with_2(tmp_path: Path, words: list[str]) -> None:
    words = [str(tmp_path / word) for word in words]
    assert CliRunner().invoke(main, ["propose", *words]).exit_code == 2


def test_a_proposal_is_read_in_80_columns() -> None:
    _, text = propose("power_on.csv")
    assert max(map(len, text.splitlines())) <= 80


def test_a_header_with_too_few_names_is_told_what_to_do(tmp_path: Path) -> None:
    lines = [f"2025-10-{day:02} 06:00   14.{day}  13.{day}" for day in range(1, 10)]
    path = tmp_path / "short.dat"
    path.write_text("\n".join(["When Where", *lines, ""]))
    _, text = propose(str(path))
    assert "give the header a name for each column, or take it out" in said(text)


@pytest.fixture
def spring(tmp_path: Path) -> Path:
    """A file that leaves out the hour of Sydney's spring."""
    # source: the IANA time zone database: 02:00 to 03:00 never happens on 2025-10-05
    hours = [*(f"04 {hour}" for hour in range(20, 24)), "05 00", "05 01", *("05 03", "05 04")]
    rows = [f"2025-10-{hour}:00,15.5" for hour in hours]
    path = tmp_path / "spring.csv"
    path.write_text("\n".join(["Time,Soil 30 cm (degC)", *rows, ""]))
    return path


def test_a_likely_clock_is_a_comment_whose_mark_a_person_takes_away(spring: Path) -> None:
    code, text = propose(str(spring), "--zone", "Australia/Sydney")
    assert code == 0
    assert '# likely: clock = "Australia/Sydney": at Australia/Sydney only this fits' in said(text)
    assert "clock" not in tomllib.loads(text)["layout"]["new"]
    table = tomllib.loads(text.replace("\n# clock", "\nclock"))["layout"]["new"]
    assert LayoutTable.model_validate(table | {"stamp": "end"}).columns
    assert table["clock"] == "Australia/Sydney"


def test_the_clock_is_sought_at_the_sites_of_the_store(tmp_path: Path, spring: Path) -> None:
    (tmp_path / "farm.toml").write_text(farm_text())
    digseason(tmp_path, "setup", tmp_path / "farm.toml")
    _, every = propose(str(spring), data=tmp_path)
    _, one = propose(str(spring), "--site", "upper", data=tmp_path)
    assert one == every
    assert '# likely: clock = "Australia/Sydney": at upper only this fits' in said(one)


def test_no_store_is_made_to_look_for_sites(tmp_path: Path) -> None:
    propose("comma.csv", data=tmp_path / "new")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--site", "nowhere"], "there is no site 'nowhere'; known: none yet, run setup first"),
        (["--zone", "Alder/Bench"], "'Alder/Bench' is no time zone"),
        (["--zone", "UTC", "--site", "upper"], "give --site or --zone"),
    ],
)
def test_a_place_that_is_none_is_wrong_use(tmp_path: Path, words: list[str], told: str) -> None:
    code, text = propose("comma.csv", *words, data=tmp_path)
    assert code == 2
    assert told in text
