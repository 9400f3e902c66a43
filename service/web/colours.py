"""The colours of pages as a style sheet: by day, by night, and on paper."""

from __future__ import annotations

from dataclasses import asdict, replace

from alerts.colours import DAY, NIGHT, Palette

PRINTED = replace(DAY, paper="#ffffff", ink="#000000")


def write_sheet() -> str:
    """Return them as custom properties."""
    return "\n".join(
        (
            _write(DAY),
            f"@media (prefers-color-scheme: dark) {{\n{_write(NIGHT)}}}",
            f"@media print {{\n{_write(PRINTED)}}}",
            "",
        )
    )


def _write(palette: Palette) -> str:
    lines = "".join(f"  --{name}: {colour};\n" for name, colour in asdict(palette).items())
    return f":root {{\n{lines}}}\n"
