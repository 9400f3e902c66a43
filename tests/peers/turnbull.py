"""Turnbull's estimate as another library makes it, run by the Python of .venv-peers.

    .venv-peers/bin/python tests/peers/turnbull.py < CASES

CASES is a JSON list of cases, each a list of [after, by], numbers of days between which something
came; `by` is null where it never did. It prints a JSON list: of each case a list of [day, share
that has not come by the end of it].
"""

# pyright: reportMissingImports=false

from __future__ import annotations

import json
import sys
import warnings
from math import inf, isinf

from lifelines import KaplanMeierFitter


def main() -> None:
    """Fit each case."""
    warnings.simplefilter("ignore")  # of how it would draw a line between two days
    curves: list[list[tuple[float, float]]] = []
    for case in json.load(sys.stdin):
        after, by = zip(*((a, inf if b is None else b) for a, b in case), strict=True)
        fitted = KaplanMeierFitter().fit_interval_censoring(after, by, tol=1e-9)
        share = fitted.survival_function_["NPMLE_estimate_lower"]
        curves.append([(day, left) for day, left in share.items() if not isinf(day)])
    print(json.dumps(curves))  # noqa: T201 (whoever started it reads this)


if __name__ == "__main__":
    main()
