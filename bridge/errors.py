"""The one tree of errors that a user can cause.

    TetherlightError
    |-- InputError      bad files, arguments or values        exit 2
    |   |-- ShowError   problems in a show folder, all at once
    |   |-- CaptureError  a recorder's file is broken or not ours
    |   `-- FileRefused   a file of another program (GDTF, MVR, CSV) cannot be read
    |-- NetworkError    a socket could not be opened           exit 3
    |-- UnsolvableError no fixture could be solved             exit 4
    `-- Refused         one message on the wire asks for what it may not have (counted, logged, never fatal)

Every message says what was expected, what was found, and what is likely wrong.
"""

from __future__ import annotations

from collections.abc import Sequence


class TetherlightError(Exception):
    """Base of all errors that end a command with a clear message; `exit_code` is what the shell sees."""

    exit_code = 2

    @property
    def lines(self) -> list[str]:
        """One line of text per problem."""
        return [str(self)]


class InputError(TetherlightError):
    """Bad input or usage."""


class ShowError(InputError):
    """Everything that is wrong in a show folder; each problem is one `file:line: text`."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = list(problems)

    @property
    def lines(self) -> list[str]:
        return self.problems


class CaptureError(InputError):
    """A capture cannot be read: what was expected and found `offset` octets after its beginning."""

    def __init__(self, offset: int, expected: str, found: str) -> None:
        super().__init__(f"octet {offset}: expected {expected}, found {found}")
        self.offset = offset


class FileRefused(InputError):
    """A file of another program cannot be read: which one, what is wrong with it, and where."""


class NetworkError(TetherlightError):
    """A socket could not be opened."""

    exit_code = 3


class UnsolvableError(TetherlightError):
    """What was measured cannot fix the pose of any fixture."""

    exit_code = 4


class Refused(TetherlightError):
    """One message is not obeyed. `reason` is a short fixed word for counting, the text is for the log."""

    def __init__(self, reason: str, text: str) -> None:
        super().__init__(text)
        self.reason = reason
