"""Controls found as a screen reader finds them: by role and accessible name, in the browser's own accessible tree."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Any

from tests.system.chromium_hands import Hands, Point, Pointer

SCALE = """function () {
  const number = (text, otherwise) => Number.isFinite(parseFloat(text)) ? parseFloat(text) : otherwise;
  const box = this.getBoundingClientRect();
  const said = this.getAttribute('aria-orientation') ?? this.getAttribute('orient');
  return {
    low: number(this.min || this.getAttribute('aria-valuemin'), 0),
    high: number(this.max || this.getAttribute('aria-valuemax'), 100),
    value: number(this.value ?? this.getAttribute('aria-valuenow'), NaN),
    upright: said ? said === 'vertical' : box.height > box.width,
  };
}"""
MOST_KEYS = 200


@dataclass(frozen=True)
class Control:
    """One control that can be seen; `element` is its object of the protocol."""

    page: Named
    role: str
    name: str
    element: str

    async def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom, scrolled into view first."""
        await self.page.call("DOM.scrollIntoViewIfNeeded", objectId=self.element)
        found = await self.apply(
            "function () { const b = this.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; }"
        )
        left, top, right, bottom = found
        assert min(right - left, bottom - top) > 0, f"{self.role} {self.name!r} takes no place on the page"
        return left, top, right, bottom

    async def middle(self) -> Point:
        """Its middle, which must be its own: nothing may lie over it."""
        left, top, right, bottom = await self.box()
        x, y = (left + right) / 2, (top + bottom) / 2
        over = await self.apply(
            "function (x, y) { const top = document.elementFromPoint(x, y);"
            " return top && (this.contains(top) || top.contains(this) || [...(this.labels ?? [])].some((l) =>"
            " l.contains(top))) ? '' : String(top?.outerHTML ?? 'nothing').slice(0, 120); }",
            x,
            y,
        )
        assert not over, f"{self.role} {self.name!r} cannot be pressed at {x:.0f}, {y:.0f}: there is {over}"
        return x, y

    async def click(self, pointer: Pointer = "mouse") -> None:
        """Press and lift in its middle."""
        await self.page.click_at(await self.middle(), pointer)

    async def focus(self) -> None:
        """Give it the keyboard."""
        await self.page.call("DOM.focus", objectId=self.element)

    async def apply(self, function: str, *args: Any) -> Any:
        """JavaScript with `this` as the element."""
        return await self.page.apply(self.element, function, *args)

    async def states(self) -> dict[str, Any]:
        """What a screen reader is told of it: `checked`, `pressed`, `disabled`, `selected`, `value` ..."""
        found = await self.page.call("Accessibility.getPartialAXTree", objectId=self.element, fetchRelatives=False)
        node = found["nodes"][0]
        told = {one["name"]: one["value"].get("value") for one in node.get("properties", [])}
        return {**told, "value": node.get("value", {}).get("value")}

    async def on(self) -> bool:
        """Whether a switch is on, a button pressed, a tab chosen."""
        told = await self.states()
        return any(told.get(word) in (True, "true") for word in ("checked", "pressed", "selected"))


class Named(Hands):
    """`await page.named("button", "Record")` is the one control of that role and name, or the test fails."""

    async def named(self, role: str, name: str, within_s: float = 5.0) -> Control:
        """Waits until exactly one such control can be reached; fails with what is there instead."""
        deadline = asyncio.get_running_loop().time() + within_s
        while len(found := await self.all_named(role, name)) != 1:
            if asyncio.get_running_loop().time() > deadline:
                there = sorted(control.name for control in await self.all_named(role))
                raise AssertionError(f"{len(found)} of role {role!r} named {name!r}, expected 1; there are {there}")
            await asyncio.sleep(0.05)
        return found[0]

    async def all_named(self, role: str, name: str | None = None) -> list[Control]:
        """Every control of that role (and name) that is not hidden from a screen reader."""
        await self.call("DOM.enable")
        root = await self.call("Runtime.evaluate", expression="document")
        asked = {"role": role} | ({"accessibleName": name} if name is not None else {})
        found = await self.call("Accessibility.queryAXTree", objectId=root["result"]["objectId"], **asked)
        controls = []
        for node in found["nodes"]:
            if node.get("ignored") or "backendDOMNodeId" not in node:
                continue
            told = await self.call("DOM.resolveNode", backendNodeId=node["backendDOMNodeId"])
            words = str(node.get("name", {}).get("value", ""))
            controls.append(Control(self, role, words, told["object"]["objectId"]))
        return controls

    async def click_named(self, role: str, name: str, pointer: Pointer = "mouse") -> None:
        """Click the one control of that role and name."""
        await (await self.named(role, name)).click(pointer)

    async def slide(self, name: str, value: float, pointer: Pointer = "mouse") -> float:
        """Drag the slider of that name as near to a value as a hand gets it, then arrow keys; returns its value."""
        control = await self.named("slider", name)
        scale = await control.apply(SCALE)
        left, top, right, bottom = await control.box()

        def place(at: float) -> Point:
            share = (at - scale["low"]) / (scale["high"] - scale["low"])
            if scale["upright"]:
                return (left + right) / 2, bottom - share * (bottom - top)
            return left + share * (right - left), (top + bottom) / 2

        await self.drag(place(scale["value"]), place(value), pointer=pointer)
        return await self._nudge(control, value)

    async def _nudge(self, control: Control, value: float) -> float:
        """Arrow keys until no key brings it nearer."""
        await control.focus()
        now = float((await control.apply(SCALE))["value"])
        for _ in range(MOST_KEYS):
            key = "ArrowRight" if now < value else "ArrowLeft"
            if now == value:
                break
            await self.key(key)
            after = float((await control.apply(SCALE))["value"])
            if abs(after - value) >= abs(now - value):
                if after != now:
                    await self.key("ArrowLeft" if key == "ArrowRight" else "ArrowRight")
                break
            now = after
        return now
