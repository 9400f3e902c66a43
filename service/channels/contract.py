"""What every channel gives: it hands one message over, or says how that failed."""

from __future__ import annotations

from datetime import timedelta
from typing import Protocol

from service.store.outbox import Message


class SendError(Exception):
    """What went wrong, and what to do."""


class PassingSendError(SendError):
    """This message was not taken now; it may be the next time."""


class DoubtfulSendError(PassingSendError):
    """Nor can it be told from one message whether any other would be taken."""


class PermanentSendError(SendError):
    """This message will never be taken.

    address_is_bad : no other message to its address will be either
    """

    def __init__(self, text: str, address_is_bad: bool) -> None:
        super().__init__(text)
        self.address_is_bad = address_is_bad


class ChannelDownError(SendError):
    """No message can be handed over now, whichever it is.

    in_transit : it failed amid the message, which may or may not have been taken
    wait_s : what the provider asks for; None: it does not say [s]
    """

    def __init__(self, text: str, in_transit: bool = False, wait_s: float | None = None) -> None:
        super().__init__(text)
        self.in_transit = in_transit
        self.wait_s = wait_s


class Channel(Protocol):
    """A way by which messages leave.

    where : what takes them, as a person knows it
    is_real : whether they reach anyone
    lease : handing one over never takes longer
    per_min : how many it may be given in a minute; infinite: all
    """

    where: str
    is_real: bool
    lease: timedelta
    per_min: float

    def send(self, message: Message) -> str:
        """Hand a message over; return what was said to it.

        Raises
        ------
        SendError
        """
        ...

    def close(self) -> None:
        """End what is kept open between two messages."""
        ...
