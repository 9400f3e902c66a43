"""A silence is noticed after a logger's own usual interval, told once, and its end told once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.silence import (
    Cadence,
    Delivery,
    Heard,
    ProbeHeard,
    find_cadence,
    find_standings,
    find_turn,
)
from tests.plain_silence import is_silent

BEGUN = datetime(2025, 3, 1, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
FACTOR = 3.0


def at(hours: float) -> datetime:
    return BEGUN + hours * HOUR


def deliveries(
    arrived_h: Sequence[float], lag_h: float = 0, by_file: bool = False
) -> list[Delivery]:
    return [Delivery(at(hour), at(hour - lag_h), by_file) for hour in arrived_h]


def silent_from_h(came: list[Delivery], interval_h: float = 1) -> float | None:
    """Return after how many hours a logger of one probe counts as silent."""
    cadence = find_cadence(came, interval_h * HOUR)
    newest_at = max(one.newest_at for one in came)
    heard = Heard(came[0].arrived_at, cadence, {1: ProbeHeard(newest_at, interval_h * HOUR)})
    silent_from = find_standings(heard, newest_at, FACTOR)[None].silent_from
    return None if silent_from is None else (silent_from - BEGUN) / HOUR


@pytest.mark.parametrize(
    ("came", "interval_h", "hours"),
    [
        # by hand: three times a quarter of an hour is less than a day
        pytest.param(
            deliveries([i / 4 for i in range(41)]), 0.25, 10 + 24, id="a push every 15 minutes"
        ),
        # by hand: two pushes each are one delivery, whose newest stamp is later than it began
        pytest.param(
            deliveries([i / 4 for i in range(42)]), 1, 10.25 + 24, id="pushes between readings"
        ),
        # by hand: newest reading of hour 240 - 30, usually 30 h old, and three days
        pytest.param(
            deliveries(range(0, 241, 24), lag_h=30), 1, 210 + 30 + 72, id="a daily feed, late"
        ),
        # by hand: 30 days after it was emptied on day 150
        pytest.param(
            deliveries([i * 720 for i in range(6)], by_file=True), 1, 180 * 24, id="emptied by hand"
        ),
        # by hand: files that come daily are no one's errand; three days after day 10
        pytest.param(
            deliveries(range(0, 241, 24), by_file=True), 1, 240 + 72, id="files by a machine"
        ),
        # by hand: a day's readings sent one by one in some minutes are one delivery a day
        pytest.param(
            [
                Delivery(at(24 * day + i / 60), at(24 * day - 23 + i), by_file=False)
                for day in range(6)
                for i in range(24)
            ],
            1,
            120 + 72,
            id="bursts",
        ),
        # by hand: middle of 24, 24, 24, 480, 24 is 24
        pytest.param(
            deliveries([0, 24, 48, 72, 552, 576]), 1, 576 + 72, id="one long gap is not usual"
        ),
        # by hand: the longer of 24 and 720
        pytest.param(
            deliveries([0, 24, 744], by_file=True), 1, 744 + 720, id="set up, put right, a month"
        ),
        pytest.param(deliveries([0, 24]), 1, None, id="two deliveries tell nothing yet"),
        pytest.param(
            deliveries([i / 60 for i in range(20)], by_file=True), 1, None, id="a backlog of files"
        ),
    ],
)
def test_a_logger_is_silent_after_its_own_usual_interval(
    came: list[Delivery], interval_h: float, hours: float | None
) -> None:
    assert silent_from_h(came, interval_h) == pytest.approx(hours, abs=1e-6)  # hours


def test_a_new_habit_becomes_usual_after_five_of_the_last_nine_intervals() -> None:
    weekly = [i * 168 for i in range(10)]
    monthly = [weekly[-1] + 720 * (i + 1) for i in range(5)]
    after = [find_cadence(deliveries([*weekly, *monthly[:n]], by_file=True), HOUR) for n in (4, 5)]
    assert [cadence and cadence.every for cadence in after] == [7 * DAY, 30 * DAY]


def test_what_brings_nothing_newer_is_no_delivery() -> None:
    daily = deliveries([0, 24, 48, 72])
    old = [Delivery(at(72 + i), at(10), by_file=False) for i in range(1, 9)]
    assert find_cadence([*daily, *old], HOUR) == Cadence(DAY, timedelta(), emptied=False)


def stand(probes_h: dict[int, float], now_h: float, every_h: float = 1) -> dict[int | None, bool]:
    """Return what is silent of a logger that sends daily, its probes' newest readings given."""
    probes = {key: ProbeHeard(at(hour), every_h * HOUR) for key, hour in probes_h.items()}
    heard = Heard(BEGUN, Cadence(DAY, timedelta(), emptied=False), probes)
    return {key: one.is_silent for key, one in find_standings(heard, at(now_h), FACTOR).items()}


@pytest.mark.parametrize(
    ("probes_h", "every_h", "silent"),
    [
        pytest.param({1: 500, 2: 500}, 1, [], id="all go on"),
        pytest.param({1: 500, 2: 476.1}, 1, [], id="less than a day"),
        pytest.param({1: 500, 2: 476}, 1, [2], id="a day"),
        pytest.param({1: 500, 2: 476}, 24, [], id="a probe read once a day, a day"),
        pytest.param({1: 500, 2: 428}, 24, [2], id="a probe read once a day, three days"),
        pytest.param({1: 427, 2: 427}, 1, [None], id="all have stopped: the logger, no probe"),
        pytest.param({1: 427, 2: 300}, 1, [None, 2], id="a probe, then the logger"),
    ],
)
def test_a_probe_is_held_against_the_others(
    probes_h: dict[int, float], every_h: float, silent: list[int | None]
) -> None:
    assert [key for key, is_so in stand(probes_h, 500, every_h).items() if is_so] == silent


def test_a_logger_is_left_alone_in_its_first_week() -> None:
    assert stand({1: 167, 2: 20}, 167.9) == {None: False, 1: False, 2: False}
    assert stand({1: 167, 2: 20}, 168) == {None: False, 1: False, 2: True}


def test_a_straggler_does_not_end_a_silence() -> None:
    came = deliveries(range(0, 241, 24))
    straggler = Delivery(at(400), at(250), by_file=False)
    fresh = Delivery(at(424), at(424), by_file=False)
    turns = []
    for known in ([*came, straggler], [*came, straggler, fresh]):
        newest_at = known[-1].newest_at
        heard = Heard(BEGUN, find_cadence(known, HOUR), {1: ProbeHeard(newest_at, HOUR)})
        now = known[-1].arrived_at
        turns.append(find_turn(find_standings(heard, now, FACTOR)[None], silent_since=at(240)))
    assert turns == [None, "returned"]


def test_a_delivery_that_is_withdrawn_brings_nothing_back() -> None:
    left = Heard(BEGUN, find_cadence(deliveries([0, 24]), HOUR), {1: ProbeHeard(at(24), HOUR)})
    standing = find_standings(left, at(400), FACTOR)[None]
    assert (standing.is_silent, find_turn(standing, silent_since=at(24))) == (False, None)


@dataclass
class History:
    """Deliveries as (arrived, newest stamp) and when rounds run, in hours."""

    deliveries: list[tuple[float, float]]
    rounds: list[float]
    by_file: bool


@st.composite
def histories(draw: st.DrawFn) -> History:
    """Draw deliveries that mostly come at a usual interval, late, doubled or not at all at times,
    and rounds at any time."""
    usual_h = draw(st.sampled_from([0.25, 6, 24, 168, 720]))
    unusual = st.sampled_from([0, 1 / 64, 0.5, 3, 3.5, 5, 12])
    steps = draw(st.lists(st.one_of(st.just(1), st.just(1), unusual), min_size=1, max_size=25))
    arrived, came = 0.0, []
    for step in steps:
        arrived += step * usual_h
        lag = draw(st.sampled_from([0, 0, 0, 0.5, 4])) * usual_h
        came.append((arrived, arrived - lag))
    span = arrived + 12 * usual_h + 400
    places = draw(st.lists(st.integers(0, int(span * 64)), min_size=1, max_size=40))
    rounds = [place / 64 for place in sorted(places)]  # exact, as are all hours here
    return History(came, rounds, draw(st.booleans()))


def run_rounds(history: History, rounds: Sequence[float]) -> list[tuple[float, str, float]]:
    """Return what rounds tell: when, what, and the last reading before the silence, in hours."""
    told = []
    since_h: float | None = None
    for now_h in rounds:
        came = [one for one in history.deliveries if one[0] <= now_h]
        if not came:
            continue
        known = [Delivery(at(a), at(newest), history.by_file) for a, newest in came]
        newest_at = max(one.newest_at for one in known)
        heard = Heard(at(came[0][0]), find_cadence(known, HOUR), {1: ProbeHeard(newest_at, HOUR)})
        standing = find_standings(heard, at(now_h), FACTOR)[None]
        turn = find_turn(standing, None if since_h is None else at(since_h))
        if turn == "returned" and since_h is not None:
            told.append((now_h, turn, since_h))
            since_h = None
        elif turn is not None:
            since_h = (newest_at - BEGUN) / HOUR
            told.append((now_h, turn, since_h))
    return told


@given(histories())
def test_each_silence_is_told_once_and_its_end_once(history: History) -> None:
    told = run_rounds(history, history.rounds)
    silent = [is_silent(history.deliveries, history.by_file, 1, t, FACTOR) for t in history.rounds]
    turns = list(zip(history.rounds, [False, *silent[:-1]], silent, strict=True))
    begins = [now_h for now_h, before, now in turns if now > before]
    ends = [now_h for now_h, before, now in turns if now < before]
    assert [now_h for now_h, turn, _ in told if turn != "returned"] == begins
    assert [now_h for now_h, turn, _ in told if turn == "returned"] == ends
    sinces = [since for _, turn, since in told if turn != "returned"]
    assert len(set(sinces)) == len(sinces)


@given(histories(), st.integers(1, 3))
def test_running_rounds_again_tells_nothing_more(history: History, times: int) -> None:
    again = [now_h for now_h in history.rounds for _ in range(times)]
    assert run_rounds(history, again) == run_rounds(history, history.rounds)
