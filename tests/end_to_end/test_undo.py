"""From a wrong file to a corrected notice, by the commands alone."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.commands import run
from tests.farms import farm_text
from tests.mails import read_mail, text_of

WARM_C, COLD_C = 20.0, 8.0  # 68 °F opens the window, 46.4 °F does not
AS_OF = "2025-05-10"
BY_TEXT = """
[[recipient]]
name = "Ben Example"
role = "grower"
phone = "+15035550123"
channels = ["sms"]
language = "es"
"""


def write_days(path: Path, first: str, last: str, temp_c: float) -> Path:
    """Write a logger file of whole days, each hour alike."""
    at, end = datetime.fromisoformat(first), datetime.fromisoformat(last) + timedelta(days=1)
    lines = ["time,T30"]
    while at < end:
        at += timedelta(hours=1)
        # a hundredth up and down, for a sensor that stands still is no good one
        lines.append(f"{at:%Y-%m-%d %H:%M},{temp_c + at.hour % 2 / 100}")
    path.write_text("\n".join([*lines, ""]))
    return path


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A farm whose block was cold in April, and whose logger brought no May yet."""
    farm = tmp_path / "farm.toml"
    farm.write_text(farm_text(north=True, depths_cm=[30], more=BY_TEXT))
    data = tmp_path / "data"
    assert run(data, "setup", str(farm))[0] == 0
    april = write_days(tmp_path / "april.csv", "2025-03-01", "2025-04-30", COLD_C)
    assert run(data, "import", "--logger", "u1", str(april))[0] == 0
    return data


def told(data: Path, form: str) -> list[bytes]:
    found = sorted((data / "outbox").glob(f"*.{form}"), key=lambda path: path.stat().st_mtime_ns)
    return [path.read_bytes() for path in found]


def mails(data: Path) -> list[tuple[str, str]]:
    """Return subject and text of the mails that were delivered, on one line each."""
    return [(read_mail(one)["Subject"], text_of(one)) for one in told(data, "eml")]


def windows(data: Path) -> list[dict[str, str]]:
    return json.loads(run(data, "windows", "--as-of", AS_OF, "--json")[1])


def test_a_file_of_another_logger_is_withdrawn_and_its_news_taken_back(
    data: Path, tmp_path: Path
) -> None:
    never = windows(data)
    wrong = write_days(tmp_path / "wrong.csv", "2025-05-01", "2025-05-10", WARM_C)
    run(data, "import", "--logger", "u1", str(wrong))
    run(data, "round", "--as-of", AS_OF)
    ((opened, _),) = mails(data)
    assert opened == "Terrace 7: dig season is open"
    assert windows(data) != never

    by = ("--by", "Ada Example", "--why", "of another block")
    code, output = run(data, "imports", "withdraw", "2", *by)
    assert (code, "240 gone" in output) == (0, True)  # by hand: 10 days of 24 hours
    assert windows(data) == never
    run(data, "round", "--as-of", AS_OF)
    run(data, "round", "--as-of", AS_OF)
    _, (subject, text) = mails(data)
    assert subject == "Terrace 7: not known whether spring dig season has opened"
    assert "the day you were told, 4 May, were taken back or no longer count. " in text
    assert "(15-45 cm) was at 46.4 °F: the five-day mean of" in text
    assert "To find out, measure the soil at 15-45 cm with a thermometer, or dig and look" in text
    assert "did not open" not in text
    _, sms = told(data, "txt")
    assert sms.decode() == (
        "Terrace 7 (Upper Alder): no se sabe si se abrio la temporada de primavera. Sin datos: "
        "mirar. Atencion: lineas enterradas, calor, filos, normas locales."
    )

    code, output = run(data, "import", "--logger", "u1", str(wrong))
    assert (code, "imports restore 2" in " ".join(output.split())) == (1, True)
