"""Proposing a clock: what the text of a file says, what its nights and its soil leave.

Real soil, [UTAH-PROFILE] at the UTC-07:00 that is declared for it, is stamped by the clock that a
test wants; its nights include that of 9 March 2025.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from email.utils import parsedate_tz
from functools import cache
from pathlib import Path

import pandas as pd
import pytest

from probes.proposing.clock_words import NAMED_H, find_said, find_spoken
from probes.proposing.clocks import Place
from probes.proposing.proposal import FOUND, LIKELY, UNDECIDED, YOURS, Finding
from probes.proposing.propose import propose_layout
from tests.corpus import NOW
from tests.soil_series import profile

SITE = Place("bench", "America/Denver", -111.8)
ELSEWHERE = Place("bluff", "Australia/Sydney", 150.0)


@cache
def soil(depths_cm: tuple[float, ...]) -> pd.DataFrame:
    """Return the readings of some depths in a month of spring, by instant."""
    columns = {
        f"Soil {one.depth_cm:g} cm (degC)": pd.Series(one.soil_temp_c, one.observed_at)
        for one in profile()
        if one.depth_cm in depths_cm
    }
    return pd.DataFrame(columns).sort_index().loc[:"2025-03-31"].tz_localize("UTC")


@pytest.fixture
def clock_of(tmp_path: Path) -> Callable[..., Finding]:
    """Propose a clock for soil that was stamped by another one."""

    def propose(
        clock: str,
        places: Sequence[Place] = (),
        header: str = "Time",
        above: str = "",
        depths_cm: tuple[float, ...] = (5.0, 10.0, 20.0),
        epoch: bool = False,
    ) -> Finding:
        table = soil(depths_cm)
        walls = pd.DatetimeIndex(table.index).tz_convert(clock)
        stamps = (
            walls.tz_localize(None).astype("datetime64[s]").astype("int64")
            if epoch
            else walls.strftime("%Y-%m-%d %H:%M")
        )
        path = tmp_path / "new.csv"
        rows = table.set_axis(stamps).to_csv(index_label=header, float_format="%.2f")
        path.write_text(above + rows)
        findings = propose_layout(path, NOW, places).findings
        return next(finding for finding in findings if finding.key == "clock")

    return propose


@pytest.mark.parametrize(
    ("clock", "name"),
    [("America/Denver", "America/Denver"), ("Etc/GMT+7", "UTC-07:00"), ("UTC", "UTC")],
    ids=["summer time", "standard time", "UTC"],
)
def test_the_clock_that_alone_fits_the_site_is_likely(
    clock_of: Callable[..., Finding], clock: str, name: str
) -> None:
    finding = clock_of(clock, [SITE])
    assert (finding.value, finding.certainty) == (name, LIKELY)


def test_it_says_what_speaks_against_the_others_and_how_sure_the_hour_of_the_peak_is(
    clock_of: Callable[..., Finding],
) -> None:
    evidence = clock_of("Etc/GMT+7", [SITE]).evidence
    assert 'not "America/Denver": no hour is missing or there twice on 2025-03-09' in evidence
    assert 'not "UTC": soil at 5 cm would be warmest at' in evidence
    # by hand, of the spans in peak_hours.py: 4.5 h of the surface, 2.8 h of the lag over 5 cm, and
    # 1 h as a stamp may be either end; the place is what was seen
    assert "the hour at which soil at 5 cm is warmest leaves UTC-12:00 to UTC-03:30" in evidence
    assert "if someone set it in summer it is an hour more" in evidence


def test_where_the_sun_is_not_known_the_nights_alone_decide(
    clock_of: Callable[..., Finding],
) -> None:
    zone = Place("America/Denver", "America/Denver")
    assert clock_of("America/Denver", [zone]).value == "America/Denver"
    finding = clock_of("Etc/GMT+7", [zone])
    assert (finding.value, finding.certainty) == (None, YOURS)
    assert '"UTC-07:00" or "UTC" fits' in finding.evidence


def test_deep_probes_leave_it_open_between_clocks_that_keep_one_time(
    clock_of: Callable[..., Finding],
) -> None:
    finding = clock_of("UTC", [SITE], depths_cm=(40.0, 60.0))
    assert (finding.value, finding.certainty) == (None, YOURS)


def test_a_site_where_no_clock_fits_is_told(clock_of: Callable[..., Finding]) -> None:
    finding = clock_of("America/Denver", [ELSEWHERE])
    assert "none of the usual clocks fits" in finding.evidence
    assert "an hour is missing or there twice on 2025-03-09, as in America/" in finding.evidence


def test_without_a_place_the_nights_and_the_hour_of_the_peak_are_told(
    clock_of: Callable[..., Finding],
) -> None:
    finding = clock_of("America/Denver")
    assert (finding.value, finding.certainty) == (None, YOURS)
    assert "2025-03-09, as in America/Los_Angeles: it follows summer time" in finding.evidence
    assert "the clock runs -3.7 to +4.6 h ahead of the sun of its place" in finding.evidence


@pytest.mark.parametrize("places", [(), (SITE,)], ids=["no place", "the site"])
def test_a_clock_that_the_header_names_is_found_unless_the_nights_contradict_it(
    clock_of: Callable[..., Finding], places: Sequence[Place]
) -> None:
    header = "Time (GMT-07:00)"
    found = clock_of("Etc/GMT+7", places, header)
    assert (found.value, found.certainty) == ("UTC-07:00", FOUND)
    doubtful = clock_of("America/Denver", places, header)
    assert doubtful.certainty == UNDECIDED
    assert "but an hour is missing or there twice on 2025-03-09" in doubtful.evidence


def test_seconds_since_1970_are_utc_unless_the_soil_contradicts_it(
    clock_of: Callable[..., Finding],
) -> None:
    # source: [POSIX-EPOCH]: seconds since 1970-01-01 00:00 UTC
    assert clock_of("UTC", [SITE], epoch=True).certainty == FOUND
    assert clock_of("Etc/GMT+7", [SITE], epoch=True).certainty == UNDECIDED


def test_a_line_above_the_rows_makes_its_clock_likely(clock_of: Callable[..., Finding]) -> None:
    finding = clock_of("Etc/GMT+7", above="Logger,A-17\nTime zone,UTC-7\n")
    assert (finding.value, finding.certainty) == ("UTC-07:00", LIKELY)
    assert finding.evidence == ("line 'Time zone,UTC-7' above the rows, if it means the stamps")


# by hand, each from its text
@pytest.mark.parametrize(
    ("header", "line", "clocks"),
    [
        ("Date Time, GMT \u22120730", "", ["UTC-07:30"]),
        ("Time UTC", "", ["UTC"]),
        ("Time (PST)", "", ["UTC-08:00"]),
        ("Time", "UTC offset (h): 10", ["UTC+10:00"]),
        ("Time", "Zeitzone: +1", ["UTC+01:00"]),
        ("Time", "Timezone;Australia/Adelaide", ["Australia/Adelaide"]),
        ("Time", "Time zone: EDT", ["UTC-04:00"]),
        ("Time", "utc,degC", ["UTC"]),
        ("Time (UTC)", "Time zone: UTC+2", ["UTC", "UTC+02:00"]),
        ("Time", "exported 2025-12-01 12:00:05 UTC", []),
        ("Time", "zone: North/West", []),
        ("Time", "EST. 1912", []),
        ("Time", "UTC offset: 99", []),
    ],
)
def test_a_clock_is_read_from_text(header: str, line: str, clocks: list[str]) -> None:
    assert [one.clock for one in find_said([header], [line])] == clocks


@pytest.mark.parametrize("name", NAMED_H)
def test_named_zones_are_those_of_the_mail_standard(name: str) -> None:
    # source: [RFC-5322], section 4.3, as Python's own reader of dates has it
    parsed = parsedate_tz(f"1 Dec 2025 12:00:00 {name}")
    assert parsed is not None
    assert parsed[-1] == NAMED_H[name] * 3600


def test_a_line_that_only_speaks_of_the_clock_is_quoted() -> None:
    assert find_spoken(["Depth;10", "Hora;con horario de verano"]) == "Hora;con horario de verano"
