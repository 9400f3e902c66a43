"""What befalls the damaged twin of each sample log: one month of it, with bad lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

Edit = Callable[[str, str], str]  # a line and its delimiter -> what becomes of the line


@dataclass(frozen=True)
class Twin:
    """The days from `first` on that the twin holds, and what becomes of its n-th rows.

    cut : characters of the last line after which the file ends; None: the file ends as it should
    """

    first: date
    days: int
    edits: Mapping[int, Edit]
    cut: int | None = None


def cell(column: int, *texts: str) -> Edit:
    """Put these texts in the place of one cell; without texts, lose the cell."""

    def edit(line: str, delimiter: str) -> str:
        cells = line.split(delimiter)
        cells[column : column + 1] = texts
        return delimiter.join(cells)

    return edit


def then(text: str) -> Edit:
    """Write more lines after the line."""
    return lambda line, _: f"{line}\n{text}"


def nuls(line: str, _: str) -> str:
    """Write as many NULs, as a power cut leaves them."""
    return "\0" * len(line)


def behind_nuls(line: str, _: str) -> str:
    """Write NULs before the line."""
    return "\0" * 16 + line


def doubled(line: str, _: str) -> str:
    """Lose the line break between the line and a copy."""
    return line + line


def commas(line: str, delimiter: str) -> str:
    """Write commas for the delimiter."""
    return line.replace(delimiter, ",")


def damage(rows: list[str], twin: Twin, delimiter: str) -> list[str]:
    """Return the rows as the twin holds them, and what follows the last line break."""
    lines = list(rows)
    for row, edit in twin.edits.items():
        lines[row] = edit(rows[row], delimiter)
    return [*lines, ""] if twin.cut is None else [*lines[:-1], lines[-1][: twin.cut]]


RESTART = "restarted\nobserved,soil15,soil30,soil45,battery_v"
BRASS_HEADER = "from\tT15_F\tT30_F\tT45_F"

TWINS = {
    "SM-1_2024-25": Twin(
        date(2024, 9, 1),
        30,
        {30: cell(1, "ERR"), 31: cell(3, "17.3.1"), 200: cell(2, "1O.5"), 201: cell(2, "-")},
    ),
    "SM-1_2025-26": Twin(date(2025, 10, 1), 31, {10: cell(2), 50: doubled}, cut=25),
    "SM-2_2024-25": Twin(date(2024, 11, 1), 30, {99: then(RESTART), 250: then(RESTART)}),
    "SM-2_2025-26": Twin(
        date(2026, 2, 1),
        28,
        {20: cell(2, "2\0\0"), 21: cell(0, "2026-\0\0-02T20:00"), 22: nuls, 23: behind_nuls},
    ),
    "DT-1_2024-25": Twin(date(2025, 4, 1), 30, {400: cell(1, "04:30"), 401: cell(1, "04:00")}),
    "DT-1_2025-26": Twin(
        date(2026, 2, 1),
        28,
        {5: cell(0, "31/02/2026"), 6: cell(1, "25:61"), 7: cell(0, ""), 8: cell(1, "mediodía")},
    ),
    "DT-2_2024-25": Twin(
        date(2024, 12, 1), 31, {-1: then("Fin de registro\nMedia;;24,2;22,0;19,1\nFilas;744")}
    ),
    "DT-2_2025-26": Twin(
        date(2025, 10, 1),
        31,
        {
            97: cell(1, "02:00"),
            300: cell(2, "17.4"),
            301: cell(3, "16,8*"),
            302: cell(2, "1.017,4"),
        },
    ),
    "KC-1_2024-25": Twin(
        date(2025, 1, 1),
        31,
        {4: cell(0, "01.01.2025 13:00 PM"), 5: cell(0, "01.01.2025 04:00"), 6: cell(0, "---")},
    ),
    "KC-1_2025-26": Twin(date(2025, 11, 1), 30, {80: commas, 81: commas, 82: cell(0)}),
    "KC-2_2024-25": Twin(
        date(2025, 1, 1),
        31,
        {9: cell(1, "inf"), 10: cell(2, "NaN"), 11: cell(3, "6l.2")},
        cut=12,
    ),
    "KC-2_2025-26": Twin(
        date(2025, 12, 1),
        31,
        {
            20: cell(1, "?"),
            21: cell(1),
            22: cell(0, "31.11.2025 01:00 PM"),
            40: then(BRASS_HEADER),
            60: nuls,
            -1: then("End of log"),
        },
    ),
}
