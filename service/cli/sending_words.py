"""What a delivery came to, in lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from service.bounces.taking_in import BounceReport
from service.cli.options import wrap_text
from service.delivery import DeliveryReport
from service.showing import count_text

LISTED = 8


def describe_bounces(report: BounceReport) -> Iterator[str]:
    """Give a line for each message that came back or is late, and for what else lay there."""
    for told in report.failed:
        yield from wrap_text(f"came back: {told}", 2)
    for told in report.late:
        yield from wrap_text(f"late: {told}", 2)
    if report.unknown:
        yield f"  {count_text(report.unknown, 'report')} of no message of this store"
    if report.others:
        yield f"  {count_text(report.others, 'other letter')} left there, for someone to read"
    if report.trouble:
        yield from wrap_text(f"bounces: {report.trouble}", 2)


def describe_delivery(report: DeliveryReport) -> Iterator[str]:
    """Give the files that were written, how many messages went out, and what did not."""
    if report.hold:
        yield from wrap_text(str(report.hold), 2)
    for path in report.files:
        yield f"  {path}"
    real = Counter(one.message.channel for one in report.sent if one.is_real)
    for channel, count in sorted(real.items()):
        yield f"  {count:,} sent by {channel}"
    for one in report.not_sent[:LISTED]:
        what = f"message {one.message.id} to {one.message.recipient_name}, {one.message.channel}"
        yield from wrap_text(f"{what}: {one.end or 'tried again later'}: {one.why}", 2)
    if len(report.not_sent) > LISTED:
        yield f"  and {len(report.not_sent) - LISTED:,} more: `digseason outbox` lists all"
    for channel, why in report.troubles.items():
        yield from wrap_text(f"no {channel} for now, all that waits is kept: {why}", 2)
