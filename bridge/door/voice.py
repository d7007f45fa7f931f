"""The desk as an operator: what its slots ask for goes through the same door and the same refusals as OSC."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable

from bridge.door.controls import Said, messages
from bridge.door.events import Message
from bridge.door.inbox import Refusal
from bridge.door.words import belongs_to_daemon
from bridge.errors import Refused

MOST_WAITING = 256


class Voice:
    """Obeys by `obey`, which may raise Refused. What others must do waits here: nobody may ever come (a replay).

    `for_daemon` are messages that change no frame by themselves; `obeyed` and `refused` are for who tells and counts.
    """

    def __init__(self) -> None:
        self.for_daemon: deque[Message] = deque(maxlen=MOST_WAITING)
        self.obeyed: deque[Message] = deque(maxlen=MOST_WAITING)
        self.refused: deque[Refusal] = deque(maxlen=MOST_WAITING)

    def say(self, said: Iterable[Said], at_s: float, obey: Callable[[Message, float], None]) -> None:
        """Have all of it obeyed, in order."""
        for message in messages(said, at_s):
            if belongs_to_daemon(message.address):
                self.for_daemon.append(message)
                continue
            try:
                obey(message, at_s)
                self.obeyed.append(message)
            except Refused as error:
                self.refused.append(Refusal(at_s, message.sender, message.address, error.reason, str(error)))
