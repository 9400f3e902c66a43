"""Checks: what is wrong with a reading, and why. They flag; they never change a value.

A flag is causal: it rests on the reading and on earlier ones. Only where a check is told to look
`later` does the reading that follows revise a flag.
"""

from probes.checks.described import describe_thresholds
from probes.checks.gross_range import GrossRange, flag_gross_range
from probes.checks.results import (
    CHECKS,
    PROVIDER,
    TESTS,
    pack,
    pack_provider,
    replace_results,
    roll_up,
    unpack,
)
from probes.checks.run import check_logger, explain
from probes.checks.series import ProbeSeries
from probes.checks.thresholds import Reach, Thresholds, reach, read_thresholds
from probes.checks.touched import Pass, Span, find_passes, find_within, merge_spans

__all__ = [
    "CHECKS",
    "PROVIDER",
    "TESTS",
    "GrossRange",
    "Pass",
    "ProbeSeries",
    "Reach",
    "Span",
    "Thresholds",
    "check_logger",
    "describe_thresholds",
    "explain",
    "find_passes",
    "find_within",
    "flag_gross_range",
    "merge_spans",
    "pack",
    "pack_provider",
    "reach",
    "read_thresholds",
    "replace_results",
    "roll_up",
    "unpack",
]
