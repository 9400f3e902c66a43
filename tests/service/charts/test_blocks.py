"""Charts are made from the store, drawn once for readers alike, and stand in their mails."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Engine, update

from alerts.letter import Picture
from probes.units import c_to_f
from service.charts.blocks import Form, Seen, make_charts, make_season_chart, see_blocks
from service.due import When, find_shown
from service.evaluation import evaluate_blocks
from service.rounds import run_due, run_round
from service.settings import Settings
from service.store import tables
from service.store.blocks import fetch_blocks
from service.store.engine import reading, writing
from tests.mails import read_mail
from tests.planted import plant_block, plant_days, plant_recipient

one_database = pytest.mark.parametrize("store_url", ["sqlite"], indirect=True)
"""Where the SQL is that of the tests on both."""

AS_OF = date(2025, 5, 6)
NOW = datetime(2025, 5, 7, 15, tzinfo=UTC)


@pytest.fixture
def opened(engine: Engine) -> Engine:
    """A block that warmed from 50 to 70 °F on 1 May, with a day missing; a year of days before."""
    with writing(engine) as connection:
        plant_block(connection)
        year_f = 60 + 15 * np.cos((np.arange(480) - 213) * 2 * np.pi / 365)
        plant_days(connection, date(2024, 1, 1), year_f.tolist())
        plant_days(connection, date(2025, 4, 1), [50.0] * 30)
        plant_days(connection, date(2025, 4, 10), [None])
        plant_days(connection, date(2025, 5, 1), [70.0] * 6)
        for name in ("Ada Example", "Ben Example", "Eva Example"):
            plant_recipient(connection, name)
        spanish = {"language": "es", "unit": "C"}
        is_eva = tables.recipient.c.name == "Eva Example"
        connection.execute(update(tables.recipient).where(is_eva).values(spanish))
    return engine


@one_database
def test_a_chart_shows_the_last_three_months_and_six_weeks_on(opened: Engine) -> None:
    with reading(opened) as connection:
        blocks = fetch_blocks(connection)
        evaluations = evaluate_blocks(connection, blocks, [AS_OF], 2, 0.2)
        chart = make_charts(connection, evaluations, AS_OF, 0.2)["terrace-7"]
    mean_f = dict(zip(chart.days.tolist(), c_to_f(chart.mean_c), strict=True))
    assert (chart.days[0], chart.until) == (np.datetime64("2025-02-05"), date(2025, 6, 20))
    # by hand: 4 May (50 + 4 * 70) / 5; on 10 April there is none, on 11 April four of five days
    assert mean_f[date(2025, 5, 4)] == pytest.approx(66.0)
    assert np.isnan(mean_f[date(2025, 4, 10)])
    assert mean_f[date(2025, 4, 11)] == pytest.approx(50.0)
    assert list(chart.depths_c) == [30.0]
    assert np.isnan(chart.depths_c[30.0]).sum() == 1
    assert [span.opened_on for span in chart.spans if span.season == 2025] == [date(2025, 5, 4)]
    assert chart.fan
    assert chart.fan.days[0] == np.datetime64("2025-05-07")


@one_database
def test_each_mail_holds_the_chart_in_its_readers_words_and_it_is_drawn_once_for_those_alike(
    opened: Engine, tmp_path: Path
) -> None:
    settings = Settings(data=tmp_path, mail_charts=True)
    before_their_hour = datetime(2025, 5, 7, 13, 59, tzinfo=UTC)
    assert run_due(opened, settings, before_their_hour).digests == 0
    with reading(opened) as connection:
        shown, pictured = find_shown(connection, settings, When(NOW, None, at_their_hour=True))
    assert {(one.language, one.unit) for one in pictured} == {("en", "F"), ("es", "C")}
    assert shown == pictured
    report = run_round(opened, settings, NOW)
    mails = [read_mail(path.read_bytes()) for path in report.delivered]
    for mail, says in zip(mails, ["root zone", "root zone", "zona de raíces"], strict=True):
        related = mail.get_body(("related",))
        assert related
        html, picture = related.iter_parts()
        cid = picture["Content-ID"].strip("<>")
        assert f'<img src="cid:{cid}" alt="' in html.get_content()
        assert says in html.get_content().split('alt="')[1].split('"')[0]
        assert picture.get_content().startswith(b"\x89PNG")


@one_database
def test_without_charts_a_mail_carries_no_picture(opened: Engine, tmp_path: Path) -> None:
    report = run_round(opened, Settings(data=tmp_path, mail_charts=False), NOW)
    types = [part.get_content_type() for part in read_mail(report.delivered[0].read_bytes()).walk()]
    assert types == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "text/html",
        "text/calendar",
    ]


def test_a_reader_gets_no_picture_that_was_drawn_for_others_alone() -> None:
    forms = [Form(block_id, AS_OF, "en", "F") for block_id in ("near", "far")]
    picture = Picture(b"", "A chart.", "x.png")
    _, pictures = Seen({}, dict.fromkeys(forms, picture)).of_blocks(forms, ["near"])
    assert list(pictures) == ["near"]


@one_database
def test_nothing_is_drawn_for_who_gets_texts_only(opened: Engine, tmp_path: Path) -> None:
    with writing(opened) as connection:
        connection.execute(update(tables.recipient).values(channels=["sms"]))
    with reading(opened) as connection:
        shown, pictured = find_shown(
            connection, Settings(data=tmp_path), When(NOW, None, at_their_hour=False)
        )
    assert (shown, pictured) == (set(), set())


@one_database
def test_a_chart_that_cannot_be_drawn_is_left_out_and_logged(
    opened: Engine, caplog: pytest.LogCaptureFixture
) -> None:
    of_no_language = Form("terrace-7", AS_OF, "xx", "F")
    seen = see_blocks(opened, [of_no_language], [of_no_language], 0.2)
    assert (list(seen.ribbons), seen.pictures) == ([("terrace-7", AS_OF)], {})
    assert "the chart of terrace-7" in caplog.text


@one_database
def test_a_chart_of_a_season_shows_all_its_days_and_no_outlook_once_it_is_over(
    opened: Engine,
) -> None:
    with reading(opened) as connection:
        blocks = fetch_blocks(connection)
        (one,) = evaluate_blocks(connection, blocks, [AS_OF], 2, 0.2)
        past, now = (make_season_chart(connection, one, year, 0.2) for year in (2024, 2025))
    days = [(chart.days[0].item(), chart.as_of, chart.until) for chart in (past, now)]
    assert days == [
        (date(2024, 1, 1), date(2024, 12, 31), date(2024, 12, 31)),
        (date(2025, 1, 1), AS_OF, date(2025, 6, 20)),
    ]
    assert (past.fan, past.expected) == (None, None)
    assert now.fan
