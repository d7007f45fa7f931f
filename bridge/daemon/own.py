"""Tells our own packets, which loop back: by our CID and where they come from, for a copied machine has our CID too."""

from __future__ import annotations

from bridge.daemon.interfaces import own_addresses

ANY = "0.0.0.0"
_CID = slice(22, 38)  # of a packet of E1.31, whatever else it is


class Own:
    """Packets under `cid` from one of the `endpoints`."""

    def __init__(self, cid: bytes) -> None:
        self.endpoints: set[tuple[str, int]] = set()
        self._cid = cid

    def sends_from(self, endpoint: tuple[str, int]) -> None:
        """We send from this address and port from now on. What comes with our CID from elsewhere is somebody else."""
        hosts = own_addresses().values() if endpoint[0] == ANY else [endpoint[0]]
        self.endpoints.update((host, endpoint[1]) for host in hosts)

    def sent(self, packet: bytes, sender: tuple[str, int]) -> bool:
        """Whether we sent this packet, which came from `sender`."""
        return packet[_CID] == self._cid and sender in self.endpoints
