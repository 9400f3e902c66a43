"""Signs of a wrong clock: kept with the import, and told wherever it is."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.intake.inbox import empty_inbox
from service.intake.rereading import reread
from service.intake.resting import Resting
from service.settings import Settings
from service.store.engine import reading, writing
from service.store.imports import fetch_batch
from tests.commands import digseason
from tests.deliveries import declare
from tests.farms import farm_text
from tests.imported import LOGGER, Values, import_log, set_up, write_log

RUNS: Values = dict.fromkeys(range(48), (14.0, 15.0))


@pytest.fixture
def jumped(tmp_path: Path) -> Path:
    """A file whose clock was set forward by 20 minutes after a day."""
    path = write_log(tmp_path / "jumped.csv", RUNS)
    lines = path.read_text().splitlines()
    late = [line.replace(":00,", ":20,") for line in lines[25:]]
    path.write_text("\n".join([*lines[:25], *late, ""]))
    return path


def kept_signs(engine: Engine, number: int = 1) -> list[str]:
    with reading(engine) as connection:
        return list(fetch_batch(connection, number).signs)


def test_a_sign_is_kept_with_the_import_and_in_its_report(engine: Engine, jumped: Path) -> None:
    set_up(engine)
    dry = import_log(engine, jumped, dry_run=True)
    report = import_log(engine, jumped)
    (sign,) = kept_signs(engine)
    assert "the stamps jump by +20 min" in sign
    assert report.signs == dry.signs == (sign,)
    assert (report.inserted, report.rejected) == (96, 0)


def test_a_clock_that_runs_right_leaves_no_sign(engine: Engine, tmp_path: Path) -> None:
    set_up(engine)
    assert import_log(engine, write_log(tmp_path / "log.csv", RUNS)).signs == ()


def test_the_inbox_tells_it_in_the_report_of_the_file(
    engine: Engine, tmp_path: Path, jumped: Path
) -> None:
    set_up(engine)
    settings = Settings(data=tmp_path, inbox_settled_s=0)
    (settings.inbox / LOGGER).mkdir(parents=True)
    jumped.rename(settings.inbox / LOGGER / "jumped.csv")
    (file,) = empty_inbox(engine, settings, Resting())
    assert (file.fate, file.is_clean) == ("done", True)
    report = (settings.inbox / LOGGER / "done" / "jumped.csv.report.txt").read_text()
    assert "sign of a wrong clock or unit: the stamps jump by +20 min" in report


def test_commands_tell_it_and_end_well(tmp_path: Path, jumped: Path) -> None:
    farm = tmp_path / "farm.toml"
    farm.write_text(farm_text(depths_cm=(15, 30)))
    digseason(tmp_path, "setup", farm)
    told = json.loads(digseason(tmp_path, "import", "--logger", "u1", "--json", jumped))
    assert "jumped.csv: the stamps jump by +20 min" in told["signs"][0]
    assert "signs of a wrong clock or unit: 1; `digseason imports show 1`" in digseason(
        tmp_path, "imports"
    )
    shown = " ".join(digseason(tmp_path, "imports", "show", 1).split())
    assert (
        "Signs of a wrong clock or unit; no value was changed the stamps jump by +20 min" in shown
    )


def test_read_again_with_the_clock_corrected_the_sign_is_gone(engine: Engine, jumped: Path) -> None:
    set_up(engine)
    import_log(engine, jumped)
    declare(engine, [(0, 24, 1200)])
    with writing(engine) as connection:
        reread(connection, LOGGER, (), False)
    assert kept_signs(engine) == []
