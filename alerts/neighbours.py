"""The root-zone days of a block without probes, borrowed from its neighbours, and their error.

Each neighbour's days are brought to the block's height; what two neighbours differ by beyond that
is what a block differs by from its neighbours. So each is left out in turn and told from the
others, every day anew from the year before it: how far that is off makes the error. A day rests on
nothing that came after it, so that new readings move no date before them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from alerts.outlook.anomalies import yearly_terms
from alerts.outlook.curves import BETWEEN_NEIGHBOURS
from probes.frames import RootZoneDays

LAPSE_C_PER_M = 0.0065
"""How much colder it is a metre higher: of air, [ISO-2533]; for soil common practice, no source."""
FAR_KM, FAR_M = 50.0, 300.0
"""How far, and how much higher or lower, a neighbour may lie: ours, no source."""
MOST_LENDERS = 4
LOOK_BACK_DAYS = 365
"""How long a neighbour without readings is filled in, and one is compared with the others."""
LEARNED_DAYS = 5 * 365
"""How long a block's own readings tell what it differs by."""
WORST_BORROWED_C = 2.0
"""The error with which a day still has a value: up to two weeks of spring. Ours."""

_BESIDE, _PER_KM = 0.5, 0.05  # of the variance 10 km away on one level, which is 1
_M_LIKE_A_KM = 20.0
_DISTRICT_KM = 10.0  # that another district, or a height that is not known, counts as
_USUAL_COUNTS = 4.0  # as many neighbours as the usual error counts, beside those left out
_NEEDS_DAYS = 14  # for a neighbour that is left out to count
_FADES_DAYS = 10.0  # days of difference that a neighbour who is filled in is brought nearer by
_DAYS_ALIKE = 20.0  # own days that count as one
_LEVEL_C, _WAVE_C = BETWEEN_NEIGHBOURS.mean_sd_c, BETWEEN_NEIGHBOURS.wave_sd_c[0]
_DAY_C = BETWEEN_NEIGHBOURS.spread_c
_USUAL_C2 = _LEVEL_C**2 + _WAVE_C**2 + _DAY_C**2


def find_unlikeness(
    distance_km: NDArray[np.float64], higher_m: NDArray[np.float64], elsewhere: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return how unlike two places are taken to be, in units of the usual error at 10 km.

    Parameters
    ----------
    distance_km : array
    higher_m : array, same shape
        How much higher one lies; NaN where that is not known.
    elsewhere : array, same shape
        Whether they lie in two districts.

    All of it is ours, no source.
    """
    unknown = np.isnan(higher_m)
    apart_km = distance_km + np.where(unknown, _DISTRICT_KM, np.abs(higher_m) / _M_LIKE_A_KM)
    apart_km += np.where(elsewhere, _DISTRICT_KM, 0.0)
    return np.sqrt(_BESIDE + _PER_KM * apart_km)


@dataclass(frozen=True)
class Lenders:
    """The neighbours that a block may borrow from, the most alike first.

    higher_m : (k,), how much higher each lies than the block; NaN where that is not known
    unlikeness : (k,), of each and the block
    between : (k, k), of each and each other
    """

    higher_m: NDArray[np.float64]
    unlikeness: NDArray[np.float64]
    between: NDArray[np.float64]


@dataclass(frozen=True)
class Borrowed:
    """Days that were borrowed.

    temp_c : (n_days,) float64, NaN where there is nothing to borrow or its error is too large
    error_c : (n_days,) float64, standard error, also where it is too large, NaN where there is none
    lent : (k, n_days) bool, whose readings of the day a value rests on
    left_out_c : (k, n_days) float64, how far each neighbour, left out, was off over the year up to
        a day (root mean square); NaN with fewer than 14 days [degC]
    """

    temp_c: NDArray[np.float64]
    error_c: NDArray[np.float64]
    lent: NDArray[np.bool_]
    left_out_c: NDArray[np.float64]

    def since(self, first: int) -> Borrowed:
        """Return the days from a position on."""
        return Borrowed(*(of_days[..., first:] for of_days in vars(self).values()))


def borrow_days(
    days: NDArray[np.datetime64],
    lent_c: NDArray[np.float64],
    lent_error_c: NDArray[np.float64],
    lenders: Lenders,
    own_c: NDArray[np.float64],
) -> Borrowed:
    """Return the root-zone days of a block as its neighbours have them.

    Parameters
    ----------
    days : array of datetime64[D], shape (n_days,)
        Consecutive.
    lent_c, lent_error_c : array, shape (k, n_days)
        Root-zone days of the neighbours, in the block's own root zone, and their standard error;
        NaN where there is none. [degC]
    lenders : Lenders
    own_c : array, shape (n_days,)
        What the block has had itself, NaN elsewhere: from the first such day on what it differs by
        from its neighbours is learned, as a mean and a yearly wave near nothing. [degC]

    Of the neighbours with readings in the year before a day, the four most alike count, the alike
    more. One without the day is filled in from the others and what it differed from them by, so
    that the level does not jump when a logger falls silent; whose readings are all of long ago is
    left away bit by bit.

    References
    ----------
    [ISO-2533] for the lapse of air.
    """
    level_c = lent_c + LAPSE_C_PER_M * np.nan_to_num(lenders.higher_m)[:, np.newaxis]
    known = ~np.isnan(level_c)
    recent = _trailing(known, LOOK_BACK_DAYS) > 0
    taken = recent & (np.cumsum(recent, axis=0) <= MOST_LENDERS)
    known &= taken
    told_c, told_unlike = _tell_from_others(level_c, known, lenders.between)
    off_c = np.where(known, level_c - told_c, np.nan)
    compared = ~np.isnan(off_c)
    count = _trailing(compared, LOOK_BACK_DAYS)
    left_out_c2 = _mean_square(off_c, count)
    scale = _find_scale(_mean_square(off_c / told_unlike, count))

    shift_c = _trailing(np.where(compared, off_c, 0.0), LOOK_BACK_DAYS) / (count + _FADES_DAYS)
    filled_c = np.where(known, level_c, told_c + shift_c)
    weight = lenders.unlikeness[:, np.newaxis] ** -2.0
    mean_c = _average(filled_c, weight * taken)
    unlike = _average(lenders.unlikeness[:, np.newaxis], weight * known)
    sensor_c = _average(lent_error_c, weight * known)

    offset_c, spread = _learn_offset(own_c - mean_c, days)
    error_c = np.sqrt(scale * unlike**2 * spread + sensor_c**2)
    temp_c = np.where(error_c <= WORST_BORROWED_C, mean_c + offset_c, np.nan)
    return Borrowed(temp_c, error_c, known & ~np.isnan(temp_c), np.sqrt(left_out_c2))


def fill_with_borrowed(
    zone: RootZoneDays, borrowed: Borrowed, wanted: NDArray[np.bool_]
) -> RootZoneDays:
    """Return the days of a block, those that are wanted and that it has not itself borrowed."""
    fill = wanted & np.isnan(zone.root_zone_c) & ~np.isnan(borrowed.temp_c)
    return replace(
        zone,
        root_zone_c=np.where(fill, borrowed.temp_c, zone.root_zone_c),
        estimated=zone.estimated | fill,
        error_c=np.where(fill, borrowed.error_c, zone.error_c),
        lent=borrowed.lent & fill,
    )


def _tell_from_others(
    level_c: NDArray[np.float64], known: NDArray[np.bool_], between: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return each neighbour by the others of a day, and how unlike these are; NaN without any."""
    weight = np.where(np.eye(len(between), dtype=bool), 0.0, between**-2.0)
    total = weight @ known
    with np.errstate(invalid="ignore", divide="ignore"):
        told_c = weight @ np.where(known, level_c, 0.0) / total
        return told_c, (weight * between) @ known / total


def _find_scale(relative_c2: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the variance of a day in units of the usual one, by the neighbours left out.

    relative_c2 : (k, n_days), mean square of what each was off by, in units of its unlikeness
    """
    counts = ~np.isnan(relative_c2)
    total = np.where(counts, relative_c2, 0.0).sum(axis=0) / _USUAL_C2
    return (_USUAL_COUNTS + total) / (_USUAL_COUNTS + counts.sum(axis=0))


def _learn_offset(
    difference_c: NDArray[np.float64], days: NDArray[np.datetime64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what a block differs by on each day [degC], and how unsure a day is then [degC2].

    A regression on a mean and a yearly wave, on each day by the differences up to it.
    """
    seen = ~np.isnan(difference_c)
    prior_c2 = np.array([_LEVEL_C**2, _WAVE_C**2, _WAVE_C**2])
    terms = yearly_terms(days, 1)
    if not seen.any():
        return np.zeros(days.size), terms**2 @ prior_c2 + _DAY_C**2
    weighted = np.where(seen, 1.0, 0.0)[:, np.newaxis] * terms / (_DAYS_ALIKE * _DAY_C**2)
    gram = _trailing((weighted[:, :, np.newaxis] * terms[:, np.newaxis]).T, LEARNED_DAYS).T
    moment = _trailing((weighted * np.nan_to_num(difference_c)[:, np.newaxis]).T, LEARNED_DAYS).T
    cov_c2 = np.linalg.inv(gram + np.diag(1 / prior_c2))
    view = np.einsum("tij,tj->ti", cov_c2, terms)
    return (view * moment).sum(axis=1), (view * terms).sum(axis=1) + _DAY_C**2


def _trailing(value: NDArray[np.generic], days: int) -> NDArray[np.float64]:
    """Return the sum over the last days up to each, along the last axis."""
    total = np.cumsum(value, axis=-1, dtype=np.float64)
    total[..., days:] -= total[..., :-days].copy()
    return total


def _mean_square(off_c: NDArray[np.float64], count: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean square over the last year; NaN with too few days."""
    total = _trailing(np.nan_to_num(off_c) ** 2, LOOK_BACK_DAYS)
    enough = count >= _NEEDS_DAYS
    return np.where(enough, total.clip(min=0.0) / np.where(enough, count, 1.0), np.nan)


def _average(value: NDArray[np.float64], weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean over the neighbours that have a value and a weight; NaN without any."""
    used = np.where(np.isnan(value), 0.0, weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (used * np.nan_to_num(value)).sum(axis=0) / used.sum(axis=0)
