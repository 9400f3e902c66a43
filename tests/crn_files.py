"""Files of the climate reference network written by hand, in the form of its real lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta

WBAN = "03047"
# source: [CRN-LINES]; what stands between the local stamp and the soil temperatures
_MIDDLE = (
    "  2.422 -123.20   45.20     4.4     4.1     4.4     3.9"
    "     0.0      0 0      0 0      0 0 C     3.7 0     3.8 0     3.5 0    93 0   0.340   0.341"
    "   0.343   0.324   0.410"
)
_DAILY_MIDDLE = (
    "  2.422 -123.20   45.20     6.6    -5.4     0.6     2.2     0.0     8.68 C"
    "     7.9    -6.6    -0.5    84.8    30.7    53.7 -99.000 -99.000   0.207   0.152   0.175"
)


def hourly_lines(
    first: datetime, temps_c: Sequence[Sequence[float]], utc_offset_min: int = -480
) -> list[str]:
    """Return a line an hour; temperatures at 5, 10, 20, 50, 100 cm, -9999 for none."""
    return [
        f"{WBAN} {then:%Y%m%d %H%M} {then + timedelta(minutes=utc_offset_min):%Y%m%d %H%M}"
        f"{_MIDDLE}{_soil(temps)}"
        for then, temps in zip(_steps(first, timedelta(hours=1)), temps_c)  # noqa: B905 (endless)
    ]


def daily_lines(first: datetime, temps_c: Sequence[Sequence[float]]) -> list[str]:
    """Return a line a day."""
    return [
        f"{WBAN} {then:%Y%m%d}{_DAILY_MIDDLE}{_soil(temps)}"
        for then, temps in zip(_steps(first, timedelta(days=1)), temps_c)  # noqa: B905 (endless)
    ]


def by_year(lines: Sequence[str], pattern: str) -> Mapping[str, bytes]:
    """Return the files of all years, by the path that they lie at."""
    years = sorted({line[6:10] for line in lines})
    return {
        pattern.format(year=year): "".join(
            f"{line}\n" for line in lines if line[6:10] == year
        ).encode()
        for year in years
    }


def _soil(temps_c: Sequence[float]) -> str:
    return "".join(f" {temp_c:7.1f}" for temp_c in temps_c)


def _steps(first: datetime, step: timedelta) -> Iterator[datetime]:
    then = first.astimezone(UTC)
    while True:
        yield then
        then += step
