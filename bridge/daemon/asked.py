"""Jobs of the worker on somebody's word: what cannot be done once a file was looked at is told to who asked."""

from __future__ import annotations

from collections.abc import Callable

from bridge.daemon.worker import Worker
from bridge.door.inbox import TEXT_SHOWN, Refusal
from bridge.errors import Refused, TetherlightError

SHOWN = 8


class Asked:
    """`refuse` is called in the loop, by `in_loop`."""

    def __init__(
        self,
        worker: Worker,
        in_loop: Callable[[Callable[[], None]], None],
        refuse: Callable[[Refusal], None],
    ) -> None:
        self._worker, self._in_loop, self._refuse = worker, in_loop, refuse

    def do(self, job: Callable[[], None], address: str, sender: str, at_s: float) -> None:
        """Have this done, after what was asked before."""

        def no(reason: str, text: str) -> None:
            refusal = Refusal(at_s, sender, address, reason, text[:TEXT_SHOWN])
            self._in_loop(lambda: self._refuse(refusal))

        def guarded() -> None:
            try:
                job()
            except Refused as error:
                no(error.reason, str(error))
            except TetherlightError as error:
                no("files", f"{address}: {'; '.join(error.lines[:SHOWN])}")
            except Exception as error:
                no("internal", f"{address}: a fault of this program, please report it: {error!r}")

        self._worker.do(guarded)
