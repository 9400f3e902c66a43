"""What a mail server's refusal means: for this message, its address, or every message.

Enhanced status codes ([RFC-3463]) decide where there is one; else the reply code ([RFC-5321]).
"""

from __future__ import annotations

import re
from typing import Literal

Stage = Literal["sender", "address", "content"]
"""What the refused command told the server."""

Verdict = Literal["passing", "address", "message", "provider"]
"""Try this message again; never this address; never this message; or it is about us, so stop."""

_ENHANCED = re.compile(r"([245]\.\d{1,3}\.\d{1,3})\b")

_BAD_ADDRESSES = frozenset(
    # no such mailbox, host or form; ambiguous; moved; takes no mail; disabled; no route
    ["5.1.0", "5.1.1", "5.1.2", "5.1.3", "5.1.4", "5.1.6", "5.1.10", "5.2.1", "5.4.4"]
)
_OUR_ADDRESS = frozenset(["5.1.7", "5.1.8"])  # the sender's form, the sender's host
_BAD_MESSAGES = frozenset(["5.2.3", "5.3.4"])  # too long for the mailbox, for the system
_BAD_CONTENT = "5.6."  # of media: cannot be converted, not supported


def judge_reply(stage: Stage, code: int, text: str) -> Verdict:
    """Return what a refusal means that was the answer to a stage of handing a mail over.

    A refusal for policy (5.7.x, or without a code of its own) is usually about the sender and is
    mended by whoever runs this; so it is tried again, and given up only after days.
    """
    if code == 421:
        return "provider"
    enhanced = _ENHANCED.match(text)
    if enhanced:
        verdict = judge_status(enhanced[1])
        if stage != "sender" or verdict == "message":
            return verdict
    if stage == "sender":
        return "provider"
    # [RFC-5321] 4.2.3: 550 no such mailbox, 551 not local, 553 its name is not allowed;
    # [RFC-7504]: 556 the domain takes no mail
    if not enhanced and stage == "address" and code in (550, 551, 553, 556):
        return "address"
    return "passing"


def judge_status(status: str) -> Verdict:
    """Return what an enhanced status code of a failure means."""
    if status in _BAD_ADDRESSES:
        return "address"
    if status in _OUR_ADDRESS:
        return "provider"
    if status in _BAD_MESSAGES or status.startswith(_BAD_CONTENT):
        return "message"
    return "passing"
