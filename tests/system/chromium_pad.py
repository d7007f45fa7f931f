"""A stand-in for a gamepad: the page sees one through `navigator.getGamepads`, and a test holds its sticks.

As in Chromium, every call gives new snapshots that do not change afterwards, and a pad is seen from its event on.
W3C Gamepad, https://www.w3.org/TR/gamepad/: standard mapping, 4 axes and 17 buttons; axis 1 is negative away from you.
"""

from __future__ import annotations

import json

from tests.system.chromium_session import Session

AXES, BUTTONS = 4, 17
SCRIPT = """(() => {
  const pads = [null, null, null, null];
  const shot = (pad) => pad && Object.freeze({
    id: pad.id, index: pad.index, connected: pad.connected, mapping: pad.mapping, timestamp: pad.timestamp,
    axes: Object.freeze([...pad.axes]),
    buttons: Object.freeze(pad.buttons.map((value) =>
      Object.freeze({ value, pressed: value > 0.5, touched: value > 0 }))),
    vibrationActuator: null,
  });
  navigator.getGamepads = () => pads.map(shot);
  const tell = (word, pad) => {
    const event = new Event(word);
    Object.defineProperty(event, 'gamepad', { value: shot(pad) });
    window.dispatchEvent(event);
  };
  window.standInPads = {
    connect(index, id, mapping, axes, buttons) {
      pads[index] = { id, index, mapping, connected: true, timestamp: performance.now(),
        axes: Array(axes).fill(0), buttons: Array(buttons).fill(0) };
      tell('gamepadconnected', pads[index]);
    },
    hold(index, axes, buttons) {
      const pad = pads[index];
      for (const [k, value] of Object.entries(axes)) pad.axes[k] = value;
      for (const [k, value] of Object.entries(buttons)) pad.buttons[k] = value;
      pad.timestamp = performance.now();
    },
    disconnect(index) {
      const pad = pads[index];
      pads[index] = null;
      pad.connected = false;
      tell('gamepaddisconnected', pad);
    },
  };
})()"""


class Pad:
    """One pad of a page that was opened with `pad=True`."""

    def __init__(self, page: Session, index: int = 0) -> None:
        self._page, self._index = page, index

    async def connect(
        self,
        name: str = "Stand-in pad",
        axes: int = AXES,
        buttons: int = BUTTONS,
        mapping: str = "standard",
        held: dict[int, float] | None = None,
    ) -> Pad:
        """Plug it in, at rest but for sticks that are `held`; `mapping` is "standard" or empty (a pad that the browser
        does not know)."""
        plug = f"connect({self._index}, {json.dumps(name)}, {json.dumps(mapping)}, {axes}, {buttons})"
        await self._do(f"{plug}, standInPads.hold({self._index}, {json.dumps(held or {})}, {{}})")
        return self

    async def hold(self, axes: dict[int, float] | None = None, buttons: dict[int, float] | None = None) -> None:
        """Hold sticks (-1 to 1) and buttons (0 to 1) so until told otherwise; others stay as they are."""
        await self._do(f"hold({self._index}, {json.dumps(axes or {})}, {json.dumps(buttons or {})})")

    async def disconnect(self) -> None:
        """Pull its plug."""
        await self._do(f"disconnect({self._index})")

    async def _do(self, what: str) -> None:
        await self._page.evaluate(f"(standInPads.{what}, 1)")
