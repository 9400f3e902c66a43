"""digseason soil"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from math import isfinite, tau
from pathlib import Path
from textwrap import fill

import click

from alerts.root_zone import SHALLOW_CM, is_shallow
from probes.soil.damped_wave import YEAR_D
from probes.soil.survey import RECENT_DAYS, DepthWaves, Layer
from probes.units import Unit, delta_c_to_f, from_c
from service.cli.options import as_of_option, format_options, print_records, unit_option
from service.showing import Record
from service.soil import BlockSoil, survey_block
from service.store.blocks import Block, fetch_blocks
from service.store.engine import reading
from service.wiring import open_store

COLUMNS = (
    "block",
    "upper_cm",
    "lower_cm",
    "mean_c",
    "yearly_amplitude_c",
    "yearly_se_c",
    "warmest_on",
    "daily_amplitude_c",
    "daily_se_c",
    "warmest_h",
    "by_amplitude_mm2_s",
    "by_phase_mm2_s",
    "by_arctangent_mm2_s",
    "by_logarithm_mm2_s",
    "median_mm2_s",
    "disagreement",
    "daily_damping_m",
    "yearly_damping_m",
)


@click.command("soil")
@click.option("--block", "block_id", metavar="ID", required=True)
@as_of_option
@unit_option
@format_options
@click.pass_obj
def command(data: Path, block_id: str, as_of: date | None, unit: Unit, form: str | None) -> None:
    """Tell what a block's probes say of its soil: its waves, and how fast heat moves in it.

    The four methods assume soil that conducts heat and does nothing else. Where they disagree,
    water moves, the soil is layered, or a probe is not as deep as it is said to be.
    """
    _, engine = open_store(data)
    with reading(engine) as connection:
        blocks = fetch_blocks(connection, [block_id])
        if not blocks:
            known = ", ".join(sorted(block.id for block in fetch_blocks(connection)))
            raise click.BadParameter(
                f"there is no block '{block_id}'; known: {known or 'none yet, run setup first'}",
                param_hint="--block",
            )
        until = datetime.now(UTC)
        if as_of:
            midnight = datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC) + timedelta(days=1)
            until = midnight - timedelta(minutes=blocks[0].utc_offset_min)
        soil = survey_block(connection, blocks[0], until)
    if form:
        print_records(_records(blocks[0], soil) if soil else (), form, COLUMNS)
    elif soil is None:
        click.echo(f"{blocks[0].name} ({block_id}): no readings yet")
    else:
        click.echo("\n".join(_lines(blocks[0], soil, unit)))


def _records(block: Block, soil: BlockSoil) -> Iterator[Record]:
    """Yield a record per depth, then one per layer; what does not concern it is empty."""
    empty: Record = dict.fromkeys(COLUMNS)
    for one in soil.waves:
        yield empty | {
            "block": block.id,
            "upper_cm": one.depth_cm,
            "mean_c": _known(one.mean_c),
            "yearly_amplitude_c": _known(one.yearly_c),
            "yearly_se_c": _known(one.yearly_se_c),
            "warmest_on": _day_of_year(one.warmest_d) if isfinite(one.warmest_d) else None,
            "daily_amplitude_c": _known(one.daily_c),
            "daily_se_c": _known(one.daily_se_c),
            "warmest_h": _known(one.warmest_h),
        }
    for layer in soil.layers:
        found = layer.diffusivity
        daily_m, yearly_m = layer.damping_depths_m
        yield empty | {
            "block": block.id,
            "upper_cm": layer.upper_cm,
            "lower_cm": layer.lower_cm,
            "by_amplitude_mm2_s": _mm2(found.amplitude),
            "by_phase_mm2_s": _mm2(found.phase),
            "by_arctangent_mm2_s": _mm2(found.arctangent),
            "by_logarithm_mm2_s": _mm2(found.logarithmic),
            "median_mm2_s": _mm2(found.best),
            "disagreement": _known(found.disagreement),
            "daily_damping_m": _known(daily_m),
            "yearly_damping_m": _known(yearly_m),
        }


def _lines(block: Block, soil: BlockSoil, unit: Unit) -> Iterator[str]:
    top_cm, bottom_cm = block.root_zone_cm
    yield f"{block.name} ({block.id}), {block.site_name}"
    yield f"root zone {top_cm:g}-{bottom_cm:g} cm; {soil.days} days of readings (three years count)"
    yield f"\n{'':<20}   {'yearly wave':<22}   daily wave, last {RECENT_DAYS} days"
    heads = f"{'half range':>12}{'warmest':>10}"
    yield f"{'depth':<10}{'mean':>10}   {heads}   {heads}"
    yield from (_depth_line(one, unit) for one in soil.waves)
    if soil.layers:
        yield f"\n{'':<12}heat moves at [mm²/s], by"
        methods = ("amplitude", "phase", "arctangent", "logarithm", "differ by")
        yield f"{'between':<12}" + "".join(f"{head:>12}" for head in methods)
        yield from (_layer_line(layer) for layer in soil.layers)
    agreed = [layer for layer in soil.layers if layer.is_agreed]
    if agreed:
        yield f"\n{'':<12}{'damping depth':>24}{'lag over the layer':>24}"
        yield f"{'between':<12}" + f"{'daily':>12}{'yearly':>12}" * 2
        yield from (_damping_line(layer) for layer in agreed)
    yield from (f"\n{fill(note, 80)}" for note in _notes(block, soil))


def _depth_line(one: DepthWaves, unit: Unit) -> str:
    mean = f"{from_c(one.mean_c, unit):.1f} °{unit}" if isfinite(one.mean_c) else "-"
    yearly, daily = (_range_text(c, se_c, unit) for c, se_c in _ranges(one))
    warmest = _day_of_year(one.warmest_d) if isfinite(one.warmest_d) else "-"
    minutes = round(one.warmest_h * 60) % 1440 if isfinite(one.warmest_h) else 0
    hour = f"{minutes // 60:02}:{minutes % 60:02}" if isfinite(one.warmest_h) else "-"
    waves = f"{yearly:>12}{warmest:>10}   {daily:>12}{hour:>10}"
    return f"{f'{one.depth_cm:g} cm':<10}{mean:>10}   {waves}"


def _ranges(one: DepthWaves) -> tuple[tuple[float, float], tuple[float, float]]:
    return (one.yearly_c, one.yearly_se_c), (one.daily_c, one.daily_se_c)


def _range_text(amplitude_c: float, error_c: float, unit: Unit) -> str:
    if not isfinite(amplitude_c):
        return "-"
    shown, error = (delta_c_to_f(c) if unit == "F" else c for c in (amplitude_c, error_c))
    return f"{shown:.1f} ±{error:.1f} °{unit}"


def _layer_line(layer: Layer) -> str:
    found = layer.diffusivity
    methods = (found.amplitude, found.phase, found.arctangent, found.logarithmic)
    shown = "".join(f"{_mm2_text(value):>12}" for value in methods)
    factor = f"{found.disagreement:.1f}x" if isfinite(found.disagreement) else "-"
    return f"{_layer_name(layer):<12}{shown}{factor:>12}"


def _damping_line(layer: Layer) -> str:
    daily_m, yearly_m = layer.damping_depths_m
    distance_m = (layer.lower_cm - layer.upper_cm) / 100
    lag_h, lag_d = distance_m / daily_m * 24 / tau, distance_m / yearly_m * YEAR_D / tau
    depths = f"{f'{daily_m * 100:.0f} cm':>12}{f'{yearly_m:.1f} m':>12}"
    return f"{_layer_name(layer):<12}{depths}{f'{lag_h:.1f} h':>12}{f'{lag_d:.1f} d':>12}"


def _notes(block: Block, soil: BlockSoil) -> Iterator[str]:
    """Say what the figures do not: where the model fails, and where carrying would help."""
    for layer in soil.layers:
        if not layer.is_agreed:
            yield (
                f"Between {_layer_name(layer)} the methods disagree: there heat is not only "
                "conducted through one kind of soil. Water may move, the soil may change, or a "
                "probe may lie at another depth. Rely on none of these figures."
            )
    depths_cm = [one.depth_cm for one in soil.waves]
    bottom_cm = block.root_zone_cm[1]
    if block.ground is None and is_shallow(depths_cm, bottom_cm):
        agreed = [layer for layer in soil.layers if layer.is_agreed]
        known = f" and diffusivity_mm2_s = {_mm2_text(agreed[-1].diffusivity.best)}" * bool(agreed)
        yield (
            f"The deepest probe lies {bottom_cm - depths_cm[-1]:g} cm above the bottom of the root "
            f"zone, more than {SHALLOW_CM:g} cm: the soil below it is taken to be as warm, and "
            f"warms later. carry = true{known} in its [[block]] estimates it."
        )


def _layer_name(layer: Layer) -> str:
    return f"{layer.upper_cm:g}-{layer.lower_cm:g} cm"


def _day_of_year(warmest_d: float) -> str:
    day = date(2001, 1, 1) + timedelta(days=int(warmest_d) % 365)
    return f"{day.day} {day:%b}"


def _mm2(value_m2_s: float) -> float | None:
    return _known(value_m2_s * 1e6)


def _mm2_text(value_m2_s: float) -> str:
    return f"{value_m2_s * 1e6:.2f}" if isfinite(value_m2_s) else "-"


def _known(value: float) -> float | None:
    return value if isfinite(value) else None
