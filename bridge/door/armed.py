"""What is said when the streams are armed: which universes are sent, and which are not and why."""

from __future__ import annotations

from collections.abc import Mapping

from bridge.door.contest import Contest, ranges
from bridge.door.news import News


def tell_armed(news: News, wanted: tuple[int, ...], contest: Contest, waiting: Mapping[int, int]) -> None:
    """Armed: `wanted` are sent, `waiting` ones once the desk is heard on the universe that each names."""
    refused = ranges(tuple(contest.refused))
    again = f"refused are {contest.why_refused()}. {contest.what_to_do()}"
    later = {u: desk for u, desk in waiting.items() if u not in contest.refused}
    waits = f", waiting for the desk on {under_words(later)}" if later else ""
    if not wanted and not later:
        text = "ARMED, BUT NOTHING IS SENT: every universe of the rig is contested, so no head will move; "
        news.tell("error", "armed", text + again)
        return
    text = f"ARMED: sending universes {ranges(wanted)}" if wanted else "ARMED: nothing is sent yet"
    if refused:
        news.tell("error", "armed", f"{text}, NOT {refused}{waits}. Heads move without warning; {again}")
    else:
        news.tell("warning", "armed", f"{text}{waits}. Heads move without warning.")


def begun_text(universes: Mapping[int, int]) -> str:
    """The desk is heard under these, so that they are sent from now on."""
    return f"the desk is heard on {under_words(universes)}: sending universes {ranges(tuple(universes))} from now on"


def under_words(under: Mapping[int, int]) -> str:
    """universe 101 under 1: short for people, the desk's number first; the same numbers on both sides are said once."""
    same = tuple(ours for ours, desk in under.items() if ours == desk)
    words = [f"{desk} under {ours}" for ours, desk in under.items() if ours != desk]
    words = ([ranges(same)] if same else []) + words
    return f"universe{'s' if len(under) > 1 else ''} {', '.join(words)}"
