"""What senders call themselves and their points: strings from the network, kept for people to read."""

from __future__ import annotations

MAX_NAME = 64


def keep(names: dict[str, str], key: str, name: str, most: int) -> None:
    """The newest `most` of them, at most MAX_NAME letters, without what would disturb a terminal or a log."""
    names.pop(key, None)
    if len(names) >= most:
        del names[next(iter(names))]
    text = name.split("\0", 1)[0][:MAX_NAME]
    names[key] = "".join(letter if letter.isprintable() else "�" for letter in text)
