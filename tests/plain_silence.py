"""Whether a logger is silent, said a second time as a plain loop over hours."""

from __future__ import annotations

from collections.abc import Sequence


def is_silent(
    deliveries: Sequence[tuple[float, float]],
    by_file: bool,
    interval_h: float,
    now_h: float,
    factor: float,
) -> bool:
    """Return whether a logger is silent; deliveries as (arrived, newest stamp), in hours."""
    came = [one for one in deliveries if one[0] <= now_h]
    if not came or now_h < came[0][0] + 7 * 24:
        return False
    apart = 12 if by_file else interval_h / 2
    visits: list[list[float]] = []
    for arrived, newest in came:
        if not visits:
            visits.append([arrived, newest])
        elif newest > visits[-1][1]:
            if arrived - visits[-1][0] < apart:
                visits[-1][1] = newest
            else:
                visits.append([arrived, newest])
    visits = visits[-10:]
    if len(visits) < 3:
        return False
    gaps = sorted(visits[i + 1][0] - visits[i][0] for i in range(len(visits) - 1))
    lags = sorted(arrived - newest for arrived, newest in visits)
    usual = gaps[len(gaps) // 2]
    wait = usual if by_file and usual >= 72 else max(24, factor * usual)
    return now_h >= visits[-1][1] + max(0, lags[len(lags) // 2]) + wait
