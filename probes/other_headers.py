"""A header amid a file that is not the file's own: the columns below it mean other things.

So does a line of units where they are not the layout's.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from probes.cells import to_number
from probes.layouts import Layout
from probes.logger_lines import Block
from probes.logger_rows import Header, split_line
from probes.stated_units import has_other_unit


@dataclass
class HeaderWatch:
    """Which header is in force while the blocks of a file pass by.

    below : the line of another header, or 0 below the file's own
    row_seen : whether a row came since the file's own header; a line of units that stands between
        the two is no header
    """

    header: Header
    layout: Layout
    below: int = 0
    row_seen: bool = False

    def lines_below_another(
        self, block: Block, rows: NDArray[np.int64], timeless: Collection[int]
    ) -> NDArray[np.int64]:
        """Return, for each line of a block, the other header above it, or 0.

        Parameters
        ----------
        block : Block
            The block that follows those of the calls before.
        rows : array of int64
            Lines of the rows that have a time.
        timeless : collection of int
            Lines that have as many cells as a row, and no time.

        Returns
        -------
        above : array of int64, shape (lines of the block,)
        """
        above = np.full(len(block.lines), self.below, np.int64)
        texts = {line: block.lines[line - block.first_line] for line in timeless}
        units = {
            line for line, text in texts.items() if has_other_unit(text, self.header, self.layout)
        }
        others = {line for line, text in texts.items() if self._is_header(text)} | units
        if not others and not self.below:
            self.row_seen = self.row_seen or bool(rows.size)
            return above
        own = {
            number
            for number, line in enumerate(block.lines, block.first_line)
            if line == self.header.text != ""
        }
        since = block.first_line
        for line in sorted([*own, *others]):
            self.row_seen = self.row_seen or _any_between(rows, since, line)
            if line in own:
                self.below, self.row_seen = 0, False
            elif self.row_seen or self.below or line in units:
                self.below = line
            above[line - block.first_line :] = self.below
            since = line
        self.row_seen = self.row_seen or _any_between(rows, since, block.first_line + above.size)
        return above

    def _is_header(self, line: str) -> bool:
        cells = [cell.strip() for cell in split_line(line, self.layout.delimiter)]
        filled = [cell for cell in cells if cell]
        names = all(any(map(str.isalpha, cell)) and _no_number(cell) for cell in filled)
        of_time = set(self.layout.time).issubset(filled)
        return (names or of_time) and len(set(filled)) == len(filled) > 1


def _any_between(rows: NDArray[np.int64], first: int, last: int) -> bool:
    return bool(np.searchsorted(rows, last) > np.searchsorted(rows, first))


def _no_number(cell: str) -> bool:
    return to_number(cell, ".") is None and to_number(cell, ",") is None
