"""Pictures of their own: an SVG element with the style sheet that pages give it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from importlib.resources import files

from alerts.colours import DAY, NIGHT, Palette

SHEET = files("service.web") / "static" / "pictures.css"


def stand_alone(svg: str) -> str:
    """Return an SVG element as a file of its own, for light and dark."""
    begin, rest = svg.split(">", 1)
    paper = "svg { background: var(--paper); }"
    return f"{begin}><style>{colours_css()}{paper}\n{SHEET.read_text('utf-8')}</style>{rest}\n"


def on_paper(svg: str, width_px: int) -> str:
    """Return an SVG element as a file in the colours of day, for programs that know no variables of
    style sheets.
    """
    sheet = SHEET.read_text("utf-8")
    for name, value in {**asdict(DAY), "sans": "sans-serif", "serif": "serif"}.items():
        sheet = sheet.replace(f"var(--{name})", value)
    begin, rest = svg.replace("<svg ", f'<svg width="{width_px}" ', 1).split(">", 1)
    ground = f'<rect x="-10%" y="-10%" width="120%" height="120%" fill="{DAY.paper}"/>'
    return f"{begin}><style>{sheet}</style>{ground}{rest}"


def find_night_colours(more: Mapping[str, str]) -> dict[str, str]:
    """Return what each colour of day is by night; `more` are others than those of the palette."""
    return {getattr(DAY, one.name): getattr(NIGHT, one.name) for one in fields(DAY)} | {**more}


def show_by_night(svg: str, more: Mapping[str, str]) -> str:
    """Return an SVG file that is drawn in the colours of day, and by night is shown in those of
    night.
    """
    rules = "".join(
        f'[{of}="{by_day}"]{{{of}:{by_night}}}'
        for by_day, by_night in find_night_colours(more).items()
        for of in ("fill", "stroke")
    )
    begin, rest = svg.split(">", 1)
    return f"{begin}><style>@media (prefers-color-scheme: dark){{{rules}}}</style>{rest}"


def colours_css() -> str:
    """Return the colours as the variables that style sheets name."""
    day, night = (_variables(palette) for palette in (DAY, NIGHT))
    return (
        f":root {{ {day} --sans: sans-serif; "
        f"--serif: Georgia, serif; }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root {{ {night} }} }}\n"
    )


def _variables(palette: Palette) -> str:
    return " ".join(f"--{one.name}: {getattr(palette, one.name)};" for one in fields(palette))
