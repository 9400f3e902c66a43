"""How dates would move under other numbers of the rule; nothing is stored."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from alerts.rules import WindowRule
from alerts.variants import Numbers, vary
from alerts.windows import Span, evaluate
from service.evaluation import BlockEvaluation
from service.store.blocks import Block


@dataclass(frozen=True)
class Trial:
    """The windows of a block under one rule, and under its own."""

    block: Block
    rule: WindowRule
    spans: list[Span]
    own_spans: list[Span]


def try_rules(evaluations: Sequence[BlockEvaluation], numbers: Numbers) -> Iterator[Trial]:
    """Yield the trials of each block, in the order of the blocks.

    Blocks of one rule set whose days are the same walk through the engine together, once a rule.
    """
    groups: dict[tuple[WindowRule, date], list[BlockEvaluation]] = defaultdict(list)
    for one in evaluations:
        groups[one.rule, one.as_of].append(one)
    trials: dict[str, list[Trial]] = defaultdict(list)
    for (own, as_of), members in groups.items():
        zones = [one.root_zone for one in members]
        series_c = np.array([zone.root_zone_c for zone in zones])
        warmth = [one.warmth_c for one in members if one.warmth_c is not None]
        warmth_c = np.array(warmth) if warmth else None
        south = np.array([one.block.south for one in members])
        for rule in vary(own, numbers):
            found = evaluate(series_c, zones[0].day, south, rule, as_of, warmth_c)
            for one, evaluation in zip(members, found, strict=True):
                trial = Trial(one.block, rule, evaluation.spans, one.evaluation.spans)
                trials[one.block.id].append(trial)
    for one in evaluations:
        yield from trials[one.block.id]
