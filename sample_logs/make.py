"""Make the sample logs: two years of soil temperatures of an invented cooperative.

    python sample_logs/make.py

writes the logger files beside it and a damaged twin of each in damaged/, byte for byte the same
each time. The soil is a column that conducts heat down from a surface with a yearly wave, a daily
wave and weather that persists; each logger then loses what loggers lose.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from damage import TWINS, damage
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FOLDER = Path(__file__).parent
SEED = 1898
HOURS = 730 * 24
STANDARD = timezone(timedelta(hours=10))
FIRST = datetime(2024, 7, 1, tzinfo=STANDARD)
SEASONS = {"2024-25": date(2024, 7, 1), "2025-26": date(2025, 7, 1)}

DIFFUSIVITY_M2_S = 5e-7
NODE_M = 0.05
NODES = 61  # 3 m: the yearly wave is still felt, the weather hardly
STEP_S = 1800  # above 2500 s this scheme is not stable
DAMPING_M = (DIFFUSIVITY_M2_S * 365 * 86400 / np.pi) ** 0.5
COLDEST_DAY = 9  # 10 July, days since FIRST


@dataclass(frozen=True)
class Layout:
    """How one kind of logger writes: the bytes of its files, and a reading every `step_h` hours."""

    step_h: int
    extension: str
    encoding: str
    newline: str
    delimiter: str
    missing: tuple[str, ...]
    header: Callable[[Logger], list[str]]
    stamp: Callable[[datetime], list[str]]
    cell: Callable[[float], str]


@dataclass(frozen=True)
class Logger:
    """One logger: its soil and what it does to the readings. Day ranges are days since FIRST."""

    id: str
    layout: Layout
    depths_cm: tuple[int, ...]
    mean_c: float
    yearly_c: float
    daily_c: float
    silent: tuple[tuple[int, int], ...] = ()  # no rows: flat battery, full memory
    lost: tuple[tuple[int, int], ...] = ()  # the deepest probe's cells are missing
    garbage: tuple[tuple[int, int], ...] = ()  # the deepest probe's cells are nonsense


def on_the_wall(end: datetime) -> datetime:
    """What a clock that follows summer time shows."""
    return end.astimezone(ZoneInfo("Australia/Sydney"))


def summer_clock_start(end: datetime) -> datetime:
    """The start of the three hours, on a clock set in summer and never changed."""
    return end.astimezone(timezone(timedelta(hours=11))) - timedelta(hours=3)


GREY = Layout(
    step_h=2,
    extension="csv",
    encoding="utf-8",
    newline="\n",
    delimiter=",",
    missing=("",),
    header=lambda g: [",".join(["observed", *(f"soil{d}" for d in g.depths_cm), "battery_v"])],
    stamp=lambda end: [f"{end.astimezone(STANDARD):%Y-%m-%dT%H:%M}"],
    cell=lambda c: f"{round(c * 16) / 16:.4f}",
)
GREEN = Layout(
    step_h=1,
    extension="txt",
    encoding="latin-1",
    newline="\r\n",
    delimiter=";",
    missing=("s/d",),
    header=lambda g: [
        f"Estación;{g.id}",
        "Hora;local, con horario de verano",
        "Sin dato;s/d",
        ";".join(["Fecha", "Hora", *(f"Suelo {d} cm [°C]" for d in g.depths_cm)]),
    ],
    stamp=lambda end: [f"{on_the_wall(end):%d/%m/%Y}", f"{on_the_wall(end):%H:%M}"],
    cell=lambda c: f"{c:.1f}".replace(".", ","),
)
BRASS = Layout(
    step_h=3,
    extension="tsv",
    encoding="ascii",
    newline="\n",
    delimiter="\t",
    missing=("-9999", "---"),
    header=lambda g: ["\t".join(["from", *(f"T{d}_F" for d in g.depths_cm)])],
    stamp=lambda end: [f"{summer_clock_start(end):%d.%m.%Y %I:%M %p}"],
    cell=lambda c: f"{c * 1.8 + 32:.1f}",
)

LOGGERS = (
    Logger("SM-1", GREY, (15, 30, 45), 20.0, 9.4, 7.0, silent=((233, 236),)),
    Logger("SM-2", GREY, (15, 30, 45), 19.6, 9.2, 6.5, silent=((452, 460),)),
    Logger("DT-1", GREEN, (10, 30, 60), 18.3, 9.0, 7.5, silent=((196, 201),)),
    Logger(
        *("DT-2", GREEN, (10, 30, 60), 17.8, 8.8, 7.0),
        lost=((252, 266), (280, 303), (336, 384)),
        garbage=((405, 730),),
    ),
    Logger("KC-1", BRASS, (15, 30, 45), 16.4, 8.4, 6.0, silent=((388, 393), (600, 602))),
    Logger("KC-2", BRASS, (15, 30, 45), 11.8, 6.6, 4.0),
)


def yearly_wave(days: float | Floats, depth_m: float | Floats) -> Floats:
    """The yearly wave of unit amplitude, damped and late with depth."""
    damped = depth_m / DAMPING_M
    return -np.exp(-damped) * np.cos(2 * np.pi * (days - COLDEST_DAY) / 365 - damped)


def weather_c(random: np.random.RandomState, innovation_c: float) -> Floats:
    """Hourly anomalies of the surface: days that remember the day before."""
    anomaly_c = np.zeros(HOURS // 24 + 1)
    for day in range(1, anomaly_c.size):
        anomaly_c[day] = 0.88 * anomaly_c[day - 1] + random.normal(0, innovation_c)
    return np.interp(np.arange(HOURS) / 24, np.arange(anomaly_c.size), anomaly_c)


def soil_c(random: np.random.RandomState) -> Floats:
    """Soil temperature at the end of each hour, shape (hours, nodes, loggers)."""
    mean_c, yearly_c, daily_c = np.array([(g.mean_c, g.yearly_c, g.daily_c) for g in LOGGERS]).T
    days = np.arange(HOURS) / 24
    daily = daily_c * np.cos(2 * np.pi * (days[:, None] - 14 / 24))
    weather = weather_c(random, 1.0)[:, None]
    own_weather = np.stack([weather_c(random, 0.25) for _ in LOGGERS], axis=1)
    yearly = yearly_c * yearly_wave(days[:, None], 0.0)
    surface_c = mean_c + yearly + daily + weather + own_weather
    depth_m = np.arange(NODES)[:, None] * NODE_M
    column_c = mean_c + yearly_c * yearly_wave(0.0, depth_m)
    fraction = DIFFUSIVITY_M2_S * STEP_S / NODE_M**2
    kept = np.empty((HOURS, *column_c.shape))
    for hour in range(HOURS):
        column_c[0] = surface_c[hour]
        column_c[-1] = mean_c + yearly_c * yearly_wave(days[hour], depth_m[-1])
        for _ in range(3600 // STEP_S):
            column_c[1:-1] += fraction * (column_c[:-2] - 2 * column_c[1:-1] + column_c[2:])
        kept[hour] = column_c
    return kept


def within(day: Floats, stretches: Iterable[tuple[int, int]]) -> NDArray[np.bool_]:
    """Which of these days since FIRST lie in one of the stretches."""
    hits = [(day > first) & (day <= last) for first, last in stretches]
    return np.any([day < 0, *hits], axis=0)


def records(logger: Logger, soil: Floats, random: np.random.RandomState) -> dict[int, str]:
    """The logger's lines by their hour since FIRST; soil has the shape (hours, depths)."""
    layout = logger.layout
    soil = soil + random.normal(0, 0.15, soil.shape[1])  # no two probes agree
    mean_c = soil.reshape(-1, layout.step_h, soil.shape[1]).mean(axis=1)
    hour = np.arange(1, mean_c.shape[0] + 1) * layout.step_h
    lost = random.random_sample(mean_c.shape) < 0.0005
    lost[:, -1] |= within(hour / 24, logger.lost)
    nonsense_c = random.choice([-1, 1], hour.size) * random.uniform(62, 130, hour.size)
    mean_c[:, -1] = np.where(within(hour / 24, logger.garbage), nonsense_c, mean_c[:, -1])
    battery_v = 3.6 - 0.4 * (hour / 24 % 365) / 365
    lines = {}
    for row in np.flatnonzero(~within(hour / 24, logger.silent)):
        code = layout.missing[row % len(layout.missing)]
        cells = [code if lost[row, k] else layout.cell(c) for k, c in enumerate(mean_c[row])]
        if layout is GREY:
            cells.append(f"{battery_v[row]:.2f}")
        end = (FIRST + timedelta(hours=int(hour[row]))).astimezone(UTC)
        lines[int(hour[row])] = layout.delimiter.join([*layout.stamp(end), *cells])
    return lines


def write(path: Path, layout: Layout, lines: list[str]) -> None:
    """Write the lines as that kind of logger does."""
    text = "\n".join(lines).replace("\n", layout.newline)
    path.write_bytes(text.encode(layout.encoding))


def part(lines: dict[int, str], first: date, days: int) -> list[str]:
    """The lines of so many days from the first on."""
    begin = (first - FIRST.date()).days * 24
    return [line for hour, line in lines.items() if begin < hour <= begin + days * 24]


def main() -> None:
    """Write every file and its twin."""
    random = np.random.RandomState(SEED)  # its stream is frozen; a Generator's may change
    soil = soil_c(random)
    (FOLDER / "damaged").mkdir(exist_ok=True)
    for number, logger in enumerate(LOGGERS):
        layout, header = logger.layout, logger.layout.header(logger)
        nodes = [round(depth_cm / 100 / NODE_M) for depth_cm in logger.depths_cm]
        lines = records(logger, soil[:, nodes, number], random)
        for season, first in SEASONS.items():
            name = f"{logger.id}_{season}"
            file = f"{name}.{layout.extension}"
            write(FOLDER / file, layout, [*header, *part(lines, first, 365), ""])
            twin = TWINS[name]
            rows = damage(part(lines, twin.first, twin.days), twin, layout.delimiter)
            write(FOLDER / "damaged" / file, layout, [*header, *rows])


if __name__ == "__main__":
    main()
