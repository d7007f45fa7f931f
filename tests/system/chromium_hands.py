"""What hands do to a page: mouse, pen, fingers and keys, as the browser's own input events."""

from __future__ import annotations

from typing import Literal

from tests.system.chromium_session import Session

Point = tuple[float, float]
Pointer = Literal["mouse", "pen", "touch"]
# Windows' virtual key codes, which Chromium wants for keys that do something by themselves
CODES = {
    "Tab": 9, "Enter": 13, "Shift": 16, "Control": 17, "Alt": 18, "Escape": 27, " ": 32, "PageUp": 33, "PageDown": 34,
    "End": 35, "Home": 36, "ArrowLeft": 37, "ArrowUp": 38, "ArrowRight": 39, "ArrowDown": 40,
}  # fmt: skip
MOUSE_PRESSURE = 0.5  # Pointer Events: of a pointer that has none, while a button is down
BITS = {"Alt": 1, "Control": 2, "Shift": 8}


class Hands(Session):
    """Coordinates are CSS pixels from the top left of the page; pressures 0 to 1 (a mouse has none)."""

    _held_keys: int = 0  # modifiers that are down

    async def box(self, selector: str) -> tuple[int, int, int, int]:
        """Left, top, right and bottom of an element."""
        found = await self.evaluate(
            f"(() => {{ const b = document.querySelector({selector!r}).getBoundingClientRect();"
            " return [b.left, b.top, b.right, b.bottom]; })()"
        )
        left, top, right, bottom = (round(value) for value in found)
        return left, top, right, bottom

    async def click(self, selector: str) -> None:
        """Press and release the mouse in the middle of an element."""
        left, top, right, bottom = await self.box(selector)
        await self.click_at(((left + right) / 2, (top + bottom) / 2))

    async def click_at(self, at: Point, pointer: Pointer = "mouse") -> None:
        """Press and lift at a place."""
        await self.press(at, pointer)
        await self.lift(at, pointer)

    async def press(self, at: Point, pointer: Pointer = "mouse", pressure: float = 0.5) -> None:
        """Put the pointer down; it stays down until `lift`."""
        await self._pointer("mousePressed", "touchStart", at, pointer, pressure)

    async def move(self, at: Point, pointer: Pointer = "mouse", pressure: float = 0.5) -> None:
        """Move the pointer that is down."""
        await self._pointer("mouseMoved", "touchMove", at, pointer, pressure)

    async def lift(self, at: Point, pointer: Pointer = "mouse") -> None:
        """Lift the pointer."""
        await self._pointer("mouseReleased", "touchEnd", at, pointer, 0.0)

    async def hover(self, at: Point) -> None:
        """Move the mouse with no button down."""
        await self.call("Input.dispatchMouseEvent", type="mouseMoved", x=at[0], y=at[1], button="none", buttons=0)

    async def drag(
        self, start: Point, end: Point, steps: int = 6, pointer: Pointer = "mouse", pressure: float = 0.5
    ) -> None:
        """Drag with the left button, the pen's tip or one finger."""
        await self.press(start, pointer, pressure)
        for at in between(start, end, steps):
            await self.move(at, pointer, pressure)
        await self.lift(end, pointer)

    async def touch(self, *fingers: tuple[Point, Point], steps: int = 6, pressure: float = 1.0) -> None:
        """Fingers that go down together, each from a start to an end, and up again."""
        paths = [between(start, end, steps) for start, end in fingers]
        await self.fingers("touchStart", [start for start, _ in fingers], pressure)
        for points in zip(*paths, strict=True):
            await self.fingers("touchMove", list(points), pressure)
        await self.fingers("touchEnd", [])

    async def fingers(self, kind: str, points: list[Point], pressure: float = 1.0) -> None:
        """All the fingers that are down now; `kind` is touchStart, touchMove, touchEnd or touchCancel."""
        touches = [{"x": x, "y": y, "id": i, "force": pressure} for i, (x, y) in enumerate(points)]
        await self.call("Input.dispatchTouchEvent", type=kind, touchPoints=touches, modifiers=self._held_keys)

    async def drag_file(self, kind: Literal["dragEnter", "dragOver", "drop"], at: Point, *files: str) -> None:
        """A step of dragging files from elsewhere over the page."""
        data = {"items": [], "files": list(files), "dragOperationsMask": 1}
        await self.call("Input.dispatchDragEvent", type=kind, x=at[0], y=at[1], data=data)

    async def drop_file(self, at: Point, *files: str) -> None:
        """Drag files onto the page and let them go there."""
        for kind in ("dragEnter", "dragOver", "drop"):
            await self.drag_file(kind, at, *files)

    async def give_file(self, selector: str, file: str) -> None:
        """What choosing a file in the browser's own window does to an input."""
        found = await self.call("Runtime.evaluate", expression=f"document.querySelector({selector!r})")
        await self.call("DOM.setFileInputFiles", files=[file], objectId=found["result"]["objectId"])

    async def key(self, key: str) -> None:
        """Press and release a key by its name (`ArrowLeft`, `1`, `Tab`)."""
        await self.key_down(key)
        await self.key_up(key)

    async def key_down(self, key: str, again: bool = False) -> None:
        """Press a key and hold it; `again` is the repeat that a keyboard sends of a held key."""
        self._held_keys |= BITS.get(key, 0)
        text = {"text": "\r" if key == "Enter" else key} if len(key) == 1 or key == "Enter" else {}
        await self.call("Input.dispatchKeyEvent", type="keyDown", autoRepeat=again, **text, **self._key(key))

    async def key_up(self, key: str) -> None:
        """Release a key."""
        self._held_keys &= ~BITS.get(key, 0)
        await self.call("Input.dispatchKeyEvent", type="keyUp", **self._key(key))

    async def write(self, text: str) -> None:
        """Type a text into what has the focus."""
        for letter in text:
            await self.key(letter)

    def _key(self, key: str) -> dict[str, str | int]:
        code = CODES.get(key, ord(key.upper()) if len(key) == 1 and key.isalnum() and key.isascii() else 0)
        return {"key": key, "code": _place(key), "modifiers": self._held_keys, "windowsVirtualKeyCode": code}

    async def _pointer(self, mouse: str, touch: str, at: Point, pointer: Pointer, pressure: float) -> None:
        if pointer == "touch":
            await self.fingers(touch, [] if touch == "touchEnd" else [at], pressure)
            return
        down = mouse != "mouseReleased"
        await self.call(
            "Input.dispatchMouseEvent",
            type=mouse,
            x=at[0],
            y=at[1],
            button="left",
            buttons=int(down),
            clickCount=0 if mouse == "mouseMoved" else 1,
            pointerType=pointer,
            force=0.0 if not down else pressure if pointer == "pen" else MOUSE_PRESSURE,
            modifiers=self._held_keys,
        )


def between(start: Point, end: Point, steps: int) -> list[Point]:
    """The way from a start to an end, the start left out."""
    return [
        (start[0] + (end[0] - start[0]) * k / steps, start[1] + (end[1] - start[1]) * k / steps)
        for k in range(1, steps + 1)
    ]


def _place(key: str) -> str:
    """The physical key of an English keyboard (`KeyboardEvent.code`), empty where it is not known."""
    if len(key) != 1:
        return {"Shift": "ShiftLeft", "Control": "ControlLeft", "Alt": "AltLeft"}.get(key, key)
    if key == " ":
        return "Space"
    if key.isascii() and key.isdigit():
        return f"Digit{key}"
    return f"Key{key.upper()}" if key.isascii() and key.isalpha() else ""
