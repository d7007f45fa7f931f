"""What an input's ears make of packets: a sample that is sent again is no news, but a sign that the point is there."""

from __future__ import annotations

from bridge.daemon.input_ears import STANDS_S, InputEars
from bridge.daemon.input_socket import where
from bridge.door.events import Seen
from bridge.wire import otp_send
from bridge.wire.settings import InputSettings
from tests.workers import WORKER

SYSTEM = 1 + WORKER % 200
CID = bytes(range(16))


def test_a_point_that_stands_is_there_though_its_sample_is_an_old_one() -> None:
    """A producer of E1.59 may send the last sample of a point that does not move, message after message."""
    settings = InputSettings("otp", "127.0.0.1", SYSTEM)
    ears = InputEars(settings, where(settings, ""), ["h"])
    try:
        seen: list[Seen] = []
        for folio in range(1, 301):  # 5 s at 60 Hz: it moves for 2 s and stands for 3 s
            at_s = 100.0 + folio / 60
            sampled_us = 5_000_000 + round(min(folio, 120) / 60 * 1e6)
            sent = otp_send.Sent(1, 7, (min(folio, 120) * 0.01, 2.0, 1.0), sampled_us=sampled_us)
            stamp_us = 5_000_000 + round(folio / 60 * 1e6)
            for page in otp_send.transform(CID, "venue", SYSTEM, folio, stamp_us, [sent]):
                seen += ears.take(page, "h", at_s)
        moving, standing = [s for s in seen if s.at_s <= 102.0 + 1e-5], [s for s in seen if s.at_s > 102.0 + 1e-5]
        assert len(moving) == 120
        assert {s.place[0] for s in standing} == {1.2}
        gaps = [b.at_s - a.at_s for a, b in zip([moving[-1], *standing], standing, strict=False)]
        assert 3.0 / (STANDS_S + 1 / 60) - 1 <= len(standing) <= 3.0 / STANDS_S
        assert all(STANDS_S <= gap < STANDS_S + 0.03 for gap in gaps), "soon enough that it is not taken for lost"
        assert ears.repeated == 180 - len(standing)
    finally:
        ears.close()
