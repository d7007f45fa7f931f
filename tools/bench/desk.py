"""All figures beside a desk next to those asked for, each with a control or a peer in the same run.

    python tools/bench/desk.py                    some half an hour
    python tools/bench/desk.py --quick            five minutes, fewer samples
    python tools/bench/desk.py --only 1 3         some of them: 1 packet to packet, idle and loaded (with 2: the cost),
                                                  3 changes of hands, 4 death and stop, 5 an hour, 6 fuzz

It sends and hears multicast on loopback under real universe numbers, so give it a network namespace of its own and a
route of multicast to loopback there. Leave the machine alone meanwhile. Numbers are printed, never asserted.
"""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from desk_fall import falls
from desk_hands import hands
from desk_hour import hour
from desk_live import Heard, carried, idle_of, loaded, osc_alone, spaced
from ear import load, machine

from tests.unit.wire.fuzzed import fuzz

Row = tuple[str, str, str, str]
FRAME_MS = 1000 / 44
HEADS = 512


def packet_to_packet(quick: bool, scratch: Path) -> Iterator[Row]:
    """1 and 2: through the daemon with nothing else to do, then with 18 universes and 512 heads, and the cost."""
    samples, seconds = (60, 8.0) if quick else (300, 30.0)
    ours = idle_of(True, 30150, 30150, samples, scratch)
    theirs = idle_of(False, 30151, 30152, samples // 2, scratch)
    alone = osc_alone(30152, 30154, samples, scratch)
    control = f"{alone['p50_ms']} ms OSC to packet without a desk, {theirs['p50_ms']} ms the library's"
    yield "desk packet to ours, idle: p50", "<= 1 ms", f"{ours['p50_ms']} ms", control
    yield "... p99", "<= 3 ms", f"{ours['p99_ms']} ms", f"{alone['p99_ms']} ms, {theirs['p99_ms']} ms"
    yield "... unanswered", "0", f"{ours['unanswered']} of {samples}", str(theirs["unanswered"])
    beside = loaded(True, HEADS, 30150, 30156, seconds, scratch)
    without = loaded(False, HEADS, 30150, 30158, seconds, scratch)
    yield from under_load(beside, without)


def under_load(beside: Heard, without: Heard) -> Iterator[Row]:
    """What a desk of 18 universes at 44 Hz, all slots changing, does to 512 heads that follow."""
    way, apart, bare = carried(beside), spaced(beside), spaced(without)
    worst = f"{way['p100_ms']} ms (p50 {way['p50_ms']}, p99 {way['p99_ms']})"
    yield "18 universes, 512 heads: worst", f"<= {FRAME_MS:.1f} + the desk's own {way['burst_ms']} ms", worst, ""
    yield "... frames that passed without it", "0", f"{way['frames_passed']} of {apart['packets']}", ""
    lost = f"{beside.drops} in the kernel, {way['unseen']} not shown, of {way['packets']}"
    yield "... desk packets lost", "0", lost, f"{way['not_heard_by_the_bench']} on the way to the bench"
    yield "... CPU", "<= 20 % of a core", f"{beside.cpu_percent} %", f"{without.cpu_percent} % without a desk"
    off = f"{apart['p99_ms']} ms ({apart['p99_ms'] - bare['p99_ms']:+.2f})"
    yield "... our packets off 44 Hz: p99", "<= 1.5 ms more", off, f"{bare['p99_ms']} ms without a desk"
    yield "... ours lost by sequence", "0", f"{apart['lost']} of {apart['packets']}", str(bare["lost"])


def change_of_hands(quick: bool, scratch: Path) -> Iterator[Row]:
    """3: light while a head is off its goal."""
    found = hands(20.0 if quick else 120.0, 30180, 30180, scratch)
    name = f"{found['changes']} changes of hands, lit: frames of heads off their goal"
    yield name, "0", f"{found['off']} of {found['lit_frames']} lit", f"{found['bare_switch_off']} by a bare switch"
    yield "... largest step of a head's light", "about 1", f"{found['most_of_a_fade_step']} of a fade's", ""


def death_and_stop(quick: bool, scratch: Path) -> Iterator[Row]:
    """4: until receivers show the desk on the same universe."""
    times = 1 if quick else 5
    killed = falls(signal.SIGKILL, times, 30170, 30170, scratch)
    yield "kill -9: our last levels to the desk's", "2500 ms", killed["from_our_last_levels_ms"], ""
    yield "... from the kill", "", killed["from_signal_ms"], f"{killed['library_ms']} by the library"
    stopped = falls(signal.SIGTERM, times, 30170, 30172, scratch)
    within = f"{stopped['frames']} frames ({stopped['from_signal_ms']})"
    yield "a clean stop: until the desk is shown", "<= 2 frames", within, f"{stopped['library_ms']} by the library"


def an_hour(quick: bool, scratch: Path) -> Iterator[Row]:
    """5: slots that are wrong."""
    found = hour(120.0 if quick else 3600.0, scratch)
    asked = f"{found['asked_of_the_door']} messages, {found['packets_heard']} desk packets"
    owned = f"{found['owned_wrong']} of {found['slots']} slots"
    yield f"owned slots wrong in {found['virtual_s']} virtual s", "0", owned, asked
    control = f"{found['control']} if every packet were taken as it comes"
    yield "unowned slots wrong", "0", str(found["unowned_wrong"]), control
    yield "... channels in the wrong hands", "0", str(found["hands_wrong"]), ""
    yield "... heads brighter than the desk has them", "0", str(found["too_bright"]), ""


def fuzzed(quick: bool, _scratch: Path) -> Iterator[Row]:
    """6: the receiver under fuzz; by itself: fuzz_receiver.py."""
    count = 100_000 if quick else 1_000_000
    escapes, receiver = fuzz(1, count)
    yield f"escapes of {count} fuzzed packets", "0", str(escapes), f"{receiver.counters['taken']} of them taken"


FIGURES: dict[int, Callable[[bool, Path], Iterator[Row]]] = {
    1: packet_to_packet,
    3: change_of_hands,
    4: death_and_stop,
    5: an_hour,
    6: fuzzed,
}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", type=int, nargs="+", choices=range(1, 7), default=list(FIGURES), metavar="N")
    args = parser.parse_args()
    print(machine(), "\n", flush=True)
    print("; ".join(("figure", "asked", "bridge", "control or peer", "load of this machine")))
    for number in sorted({1 if n == 2 else n for n in args.only}):
        with tempfile.TemporaryDirectory() as scratch:
            for row in FIGURES[number](args.quick, Path(scratch)):
                print("; ".join((*row, load())), flush=True)
    print("\nafter:", machine())


if __name__ == "__main__":
    main()
