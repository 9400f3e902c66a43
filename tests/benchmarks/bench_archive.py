"""An archive compared on one worker and on two, beside a plain loop; and its memory as it grows.

Run: python -m tests.benchmarks.bench_archive [--sites N] [--years N] [--readings] [--folder DIR]
     [--plain-sites N]
"""

from __future__ import annotations

import os
import threading
import time
from argparse import ArgumentParser
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pandas as pd
import psutil
from numpy.typing import NDArray

from alerts.rules import GRAPE_PHYLLOXERA
from alerts.variants import Numbers, vary
from probes.daily import find_daily_means
from probes.frames import GOOD, DailyMeans, Readings
from probes.units import f_to_c
from service.archive.folder import describe_site, write_file
from service.archive.rows import to_table
from service.archive.tables import DAILY, READINGS
from service.store.archive import ArchiveSite
from tests.benchmarks.bars import Bar, judge
from tests.generated_climate import GeneratedClimate, Truth, generate
from tests.plain_rule import season_of, season_spans
from tests.processes import start

DEPTHS_CM = (10.0, 20.0, 30.0, 45.0, 60.0)
OPENS_F = [60 + number / 2 for number in range(20)]
LAST_YEAR = 2024
OF_DISTRICT = 10  # sites that share a climate, each with a level and a swing of its own
OFFSET_H = 8
BARS = {
    "plain loop": ">= 5",
    "from daily means": ">= 1.3",
    "from readings": ">= 1.6",
    "memory": "<= 1.2",
}
CHUNK = 1 << 20


def main() -> None:
    """Print what each way takes, and the memory of archives of several sizes."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--years", type=int, default=20)
    parser.add_argument("--readings", action="store_true", help="hourly readings too")
    parser.add_argument("--plain-sites", type=int, default=1)
    parser.add_argument(
        "--folder", type=Path, help="where there is room, or where the archive lies"
    )
    chosen = parser.parse_args()
    with _folder(chosen.folder) as folder:
        archive = folder / f"archive-{chosen.sites}-{chosen.years}"
        if not archive.exists():
            begun = time.perf_counter()
            for site in range(chosen.sites):
                write_site(archive, site, chosen.years, chosen.readings)
            print(f"written in {time.perf_counter() - begun:.0f} s: {_size_mb(archive):,.0f} MB")
        size = chosen.sites, chosen.years
        by_days, bars = show_speed(folder, archive, *size, chosen.plain_sites)
        if chosen.readings:
            bars.append(show_readings(folder, archive, by_days))
        bars.append(show_memory(folder, archive, *size))
    judge(bars)


# ---------------------------------------------------------------- an archive


def write_site(archive: Path, number: int, years: int, readings_too: bool) -> None:
    """Write a site as `export` lays it out: its daily means, and its readings if asked for."""
    south = _is_south(number)
    site = ArchiveSite(
        id=f"s{number:04d}",
        name=f"Site {number}",
        timezone="UTC",
        utc_offset_min=60 * (10 if south else -OFFSET_H),
        latitude=(-1 if south else 1) * (34 + number % 17 / 2),
        longitude=number % 90 / 10,
        elevation_m=100.0 + number % 40 * 10,
        checks="standard",
        use_suspect=False,
        logger_ids=(f"l{number:04d}",),
    )
    observed_at, soil_temp_c = _soil(number, years)
    means = [
        find_daily_means(
            Readings(observed_at, at_depth_c, np.full(observed_at.size, GOOD, np.int8)),
            site.utc_offset_min,
            60.0,
            site.use_suspect,
        )
        for at_depth_c in soil_temp_c
    ]
    of_year = observed_at.astype("datetime64[Y]").astype(int) + 1970
    for year in range(LAST_YEAR - years, LAST_YEAR + 2):
        daily = [
            to_table(_days_of(number, row, of_depth, year), DAILY)
            for row, of_depth in enumerate(means)
        ]
        _write(archive, "daily", site, year, daily)
        if readings_too:
            there = of_year == year
            hours = [
                to_table(_readings_of(number, row, observed_at[there], of_depth[there]), READINGS)
                for row, of_depth in enumerate(soil_temp_c)
            ]
            _write(archive, "readings", site, year, hours)


def _is_south(number: int) -> bool:
    return number // OF_DISTRICT % 4 == 1


def _soil(number: int, years: int) -> tuple[NDArray[np.datetime64], NDArray[np.float64]]:
    """Return the hours of a site that were read, and its temperatures, depths x hours [degC].

    Three outages of five to thirty days, and one hour in two hundred besides.
    """
    climate = _climate(number // OF_DISTRICT, years)
    rng = np.random.default_rng([number, 7])
    mean_c, hours = climate.truth.mean_c, climate.observed_at.size
    swing, level_c = rng.uniform(0.9, 1.1), rng.uniform(-1.5, 1.5)
    there = rng.random(hours) > 0.005
    for first in rng.integers(0, hours, 3):
        there[first : first + 24 * rng.integers(5, 30)] = False
    noise_c = rng.normal(0, 0.03, (len(DEPTHS_CM), hours))
    values_c = mean_c + level_c + swing * (climate.soil_temp_c - mean_c) + noise_c
    return climate.observed_at[there], np.round(values_c[:, there], 2)


_kept: dict[tuple[int, int], GeneratedClimate] = {}


def _climate(district: int, years: int) -> GeneratedClimate:
    """Return the climate of a district; that of the last one asked for is kept."""
    if (district, years) not in _kept:
        _kept.clear()
        rng = np.random.default_rng([district, 3])
        truth = Truth(
            mean_c=rng.uniform(11, 17),
            yearly_amplitude_c=rng.uniform(8, 13),
            coldest_d=20 + 182.6 * _is_south(district * OF_DISTRICT),
            diffusivity_m2_s=rng.uniform(3e-7, 8e-7),
        )
        first_year = LAST_YEAR + 1 - years
        _kept[district, years] = generate(district, years, first_year, truth, DEPTHS_CM)
    return _kept[district, years]


def _probe(number: int, row: int, size: int) -> dict[str, Any]:
    return {
        "logger": np.full(size, f"l{number:04d}"),
        "channel": np.full(size, f"T{DEPTHS_CM[row]:.0f}"),
        "probe": np.full(size, number * len(DEPTHS_CM) + row + 1),
        "depth_cm": np.full(size, DEPTHS_CM[row]),
    }


def _days_of(number: int, row: int, means: DailyMeans, year: int) -> Mapping[str, Any]:
    there = means.day.astype("datetime64[Y]").astype(int) + 1970 == year
    names = ("day", "mean_c", "slots_present", "slots_in_day", "longest_gap_h", "complete")
    columns = {name: getattr(means, name)[there] for name in names}
    size = columns["day"].size
    return columns | _probe(number, row, size) | {"error_c": np.full(size, np.nan)}


def _readings_of(
    number: int, row: int, observed_at: NDArray[np.datetime64], soil_temp_c: NDArray[np.float64]
) -> Mapping[str, Any]:
    size = observed_at.size
    return _probe(number, row, size) | {
        "observed_at": observed_at,
        "soil_temp_c": soil_temp_c,
        "calibration_offset_c": np.zeros(size),
        "flag": np.full(size, GOOD, np.int8),
        "stamped_at": np.full(size, np.datetime64("NaT", "us")),
        "import_number": np.ones(size, np.int32),
    }


def _write(archive: Path, name: str, site: ArchiveSite, year: int, tables: list[Any]) -> None:
    if sum(map(len, tables)):
        path = archive / name / f"site={site.id}" / f"year={year}" / "part-0.parquet"
        write_file(path, describe_site(name, site), tables)


# ---------------------------------------------------------------- what is measured


@dataclass(frozen=True)
class Spent:
    """What one run of the command took, and what it printed.

    cpu_s : of all its processes
    head_mb, worker_mb : the most that it itself, and that any process it started, had in memory
    """

    clock_s: float
    cpu_s: float
    head_mb: float
    worker_mb: float
    digest: str
    rows: int


def compare(folder: Path, archive: Path, *words: str) -> Spent:
    """Run `digseason compare --archive` over an archive, and watch it."""
    thresholds = ",".join(f"{one:g}" for one in OPENS_F)
    command = ("compare", "--archive", str(archive), "--open-f", thresholds, "--csv", *words)
    until = ("--as-of", f"{LAST_YEAR}-12-31")
    result = folder / "openings.csv"
    before = os.times()
    begun = time.perf_counter()
    with result.open("w") as stdout:
        process = start(folder / "data", *command, *until, stdout=stdout)
        peaks: dict[int, float] = {}
        watching = threading.Thread(target=_watch, args=(process.pid, peaks))
        watching.start()
        if process.wait():
            raise SystemExit(f"compare {' '.join(words)} failed; see {result}")
        watching.join()
    clock_s, after = time.perf_counter() - begun, os.times()
    cpu_s = sum(after[2:4]) - sum(before[2:4])
    head_mb = peaks.pop(process.pid)
    digest, rows = _read(result)
    return Spent(clock_s, cpu_s, head_mb, max(peaks.values(), default=0.0), digest, rows)


def _watch(pid: int, peaks: dict[int, float]) -> None:
    """Keep the most memory that a process and those it started have of their own [MB]."""
    head = psutil.Process(pid)
    while True:
        try:
            if head.status() == psutil.STATUS_ZOMBIE:
                return
            running = [head, *head.children(recursive=True)]
        except psutil.NoSuchProcess:
            return
        for one in running:
            try:
                peaks[one.pid] = max(peaks.get(one.pid, 0.0), one.memory_info().rss / 1e6)
            except psutil.NoSuchProcess:
                continue
        time.sleep(0.05)


def _read(path: Path) -> tuple[str, int]:
    """Return the checksum of a file and how many rows of a table it has."""
    digest, lines = sha256(), 0
    with path.open("rb") as file:
        while part := file.read(CHUNK):
            digest.update(part)
            lines += part.count(b"\n")
    return digest.hexdigest(), lines - 1


def show_speed(
    folder: Path, archive: Path, sites: int, years: int, plain_sites: int
) -> tuple[Spent, list[Bar]]:
    """Time one worker, two, and the plain loop on some of the sites, whose results must agree."""
    seasons = sites * years * len(DEPTHS_CM) * len(OPENS_F)
    print(
        f"\n## {sites} sites x {years} years x {len(DEPTHS_CM)} depths x {len(OPENS_F)} thresholds"
    )
    print(f"\n{seasons:,} site-depth-threshold-seasons; load {os.getloadavg()[0]:.0f}\n")
    print("| way | s | CPU s | head, MB | worker, MB | rows |\n|---|---|---|---|---|---|")
    one = compare(folder, archive)
    _show("one process", one)
    begun = time.process_time()
    agreed = run_plainly(archive, folder / "openings.csv", plain_sites)
    plain_s = (time.process_time() - begun) * sites / plain_sites
    two = compare(folder, archive, "--workers", "2")
    _show("two workers", two)
    print(f"| plain pandas loop, by {plain_sites} of the sites | | {plain_s:,.0f} | | | |")
    if one.digest != two.digest:
        raise SystemExit("two workers say another thing than one")
    print(
        f"\n{agreed:,} windows of the plain loop agree to the day; two workers say the same as one"
    )
    beside_plain = Bar("plain loop / one process, CPU", plain_s / one.cpu_s, BARS["plain loop"])
    return two, [beside_plain, _bar_of_two("from daily means", one, two)]


def _bar_of_two(source: str, one: Spent, two: Spent) -> Bar:
    what = f"one process / two workers, {source}, clock of idle cores"
    return Bar(what, one.clock_s / two.clock_s, BARS[source])


def _show(name: str, spent: Spent) -> None:
    print(
        f"| {name} | {spent.clock_s:.1f} | {spent.cpu_s:.1f} | {spent.head_mb:.0f} | "
        f"{spent.worker_mb:.0f} | {spent.rows:,} |",
        flush=True,
    )


def run_plainly(archive: Path, openings: Path, sites: int) -> int:
    """Judge some sites as one would write it down: pandas for the means, a loop over the days.

    Returns how many windows agree with the openings of the command, which must be all.
    """
    rules = vary(GRAPE_PHYLLOXERA, Numbers([f_to_c(one) for one in OPENS_F]))
    as_of = date(LAST_YEAR, 12, 31)
    found: dict[tuple[str, float, float, int, str], tuple[str, int]] = {}
    for number in range(sites):
        site, south = f"s{number:04d}", _is_south(number)
        days: Any = pd.read_parquet(archive / "daily" / f"site={site}")
        days = days[days["complete"] & (days["day"] <= as_of)]
        for depth_cm, of_depth in days.groupby("depth_cm"):
            mean_c = of_depth.groupby("day")["mean_c"].mean()
            mean_c.index = pd.DatetimeIndex(mean_c.index)
            mean_c = mean_c.asfreq("D")
            trailing_c = mean_c.rolling(5, min_periods=4).mean()[mean_c.notna()].dropna()
            means = {at.date(): value for at, value in trailing_c.items()}
            first, last = season_of(min(means), south), season_of(as_of, south)
            for rule, opens_f in zip(rules, OPENS_F, strict=True):
                for season in range(first, last + 1):
                    spans = season_spans(means, {}, season, south, rule, as_of)
                    for kind in ("spring", "fall"):
                        openings_on = [str(one.opened_on) for one in spans if one.kind == kind]
                        if openings_on:
                            key = site, float(depth_cm), opens_f, season, kind
                            found[key] = openings_on[0], len(openings_on)
    told: Any = pd.read_csv(openings)
    told = told[told["site"].isin([f"s{number:04d}" for number in range(sites)])]
    told = told[told["opened_on"].notna()]
    columns = ["site", "depth_cm", "spring_opens_f", "season", "kind", "opened_on", "stretches"]
    ours = {row[:5]: row[5:] for row in told[columns].itertuples(index=False, name=None)}
    if ours != found:
        raise SystemExit("the plain loop says another thing")
    return len(found)


def show_memory(folder: Path, archive: Path, sites: int, years: int) -> Bar:
    """Measure a quarter of the sites and years, half of them, and all."""
    print("\n| sites | years | one process, MB | of two: head, MB | worker, MB |")
    print("|---|---|---|---|---|")
    most: list[tuple[float, ...]] = []
    for share in (4, 2, 1):
        part = folder / "part"
        with _part_of(archive, part, sites // share, years // share):
            one, two = compare(folder, part), compare(folder, part, "--workers", "2")
        most.append((one.head_mb, two.head_mb, two.worker_mb))
        cells = " | ".join(f"{mb:.0f}" for mb in most[-1])
        print(f"| {sites // share} | {years // share} | {cells} |", flush=True)
    ratio = max(of_all / of_half for of_half, of_all in zip(most[-2], most[-1], strict=True))
    return Bar("memory, all beside half the sites and years", ratio, BARS["memory"])


@contextmanager
def _part_of(archive: Path, part: Path, sites: int, years: int) -> Iterator[None]:
    """Lay out some sites and the last years of an archive, without copying them."""
    with TemporaryDirectory(dir=part.parent) as temporary:
        Path(temporary).rename(part)
        try:
            for path in archive.glob("daily/site=*/year=*/*.parquet"):
                number = int(path.parts[-3].removeprefix("site=s"))
                year = int(path.parts[-2].removeprefix("year="))
                if number < sites and year > LAST_YEAR - years:
                    link = part / path.relative_to(archive)
                    link.parent.mkdir(parents=True)
                    os.link(path, link)
            yield
        finally:
            part.rename(temporary)


def show_readings(folder: Path, archive: Path, by_days: Spent) -> Bar:
    """Compare by daily means made anew from the readings, which must say the same."""
    print(
        "\n| from readings | s | CPU s | head, MB | worker, MB | rows |\n|---|---|---|---|---|---|"
    )
    one = compare(folder, archive, "--from-readings")
    _show("one process", one)
    two = compare(folder, archive, "--workers", "2", "--from-readings")
    _show("two workers", two)
    if {one.digest, two.digest} != {by_days.digest}:
        raise SystemExit("readings say another thing than their daily means")
    return _bar_of_two("from readings", one, two)


def _size_mb(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*.parquet")) / 1e6


@contextmanager
def _folder(named: Path | None) -> Iterator[Path]:
    """Give a folder that is taken away, or the one named, which stays."""
    if named:
        named.mkdir(parents=True, exist_ok=True)
        yield named
        return
    with TemporaryDirectory() as temporary:
        yield Path(temporary)


if __name__ == "__main__":
    main()
