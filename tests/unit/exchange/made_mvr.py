"""MVR files with XML of our own hand: invented makers, Harbour Hall, each trap where a test wants it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence

from tests.unit.exchange.made_gdtf import DIMMER, PAN_TILT, SHUTTER, ZOOM, Channel, Mode, build_gdtf

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
SPOT = "Harbour Works@Spot 300.gdtf"
SPOT_CHANNELS = (*PAN_TILT, DIMMER, SHUTTER, ZOOM)
NO_HEAD = (DIMMER, SHUTTER, ZOOM)
AXES_AT = (0.0, 0.0, -0.42)
"""m: where the axes of made GDTF files meet, below the base (yoke 0.12, head 0.3)."""

_ID = "00000000-0000-4000-8000-"


def uid(number: int) -> str:
    return f"{_ID}{number:012d}"


def packed(members: Mapping[str, str | bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def mvr(layers: str, members: Mapping[str, str | bytes] | None = None, aux: str = "") -> bytes:
    """An MVR of these layers, and the GDTF files (or a spot of ours)."""
    scene = f"<Scene><AUXData>{aux}</AUXData><Layers>{layers}</Layers></Scene>"
    return whole(
        f'<GeneralSceneDescription verMajor="1" verMinor="6" provider="by hand">{scene}</GeneralSceneDescription>',
        members,
    )


def whole(xml: str | bytes, members: Mapping[str, str | bytes] | None = None) -> bytes:
    data = xml.encode() if isinstance(xml, str) else xml
    files = members if members is not None else {SPOT: gdtf()}
    return packed({"GeneralSceneDescription.xml": HEAD.encode() + data if data[:1] == b"<" else data, **files})


def layer(inner: str, name: str = "Front", matrix: str = "") -> str:
    return f'<Layer name="{name}" uuid="{uid(900)}">{_matrix(matrix)}<ChildList>{inner}</ChildList></Layer>'


def group(inner: str, name: str = "", matrix: str = "", tag: str = "GroupObject") -> str:
    return f'<{tag} name="{name}" uuid="{uid(901)}">{_matrix(matrix)}<ChildList>{inner}</ChildList></{tag}>'


def fixture(
    number: int = 1,
    name: str = "",
    matrix: str = "",
    spec: str = SPOT,
    mode: str = "Standard",
    address: str | None = None,
    inner: str = "",
    attributes: str = "",
) -> str:
    """Fixture `number` at its own address, 20 slots from the one before."""
    address = str(20 * number - 19) if address is None else address
    patch = f'<Addresses><Address break="0">{address}</Address></Addresses>' if address else ""
    return (
        f'<Fixture name="{name or f"Spot {number}"}" uuid="{uid(number)}" {attributes}>{_matrix(matrix)}'
        f"<GDTFSpec>{spec}</GDTFSpec><GDTFMode>{mode}</GDTFMode>{patch}"
        f"<FixtureID>{100 + number}</FixtureID><UnitNumber>{number}</UnitNumber>{inner}</Fixture>"
    )


def _matrix(text: str) -> str:
    return f"<Matrix>{text}</Matrix>" if text else ""


def matrix(rotation: Sequence[Sequence[float]], origin_mm: Sequence[float]) -> str:
    """`{u}{v}{w}{o}`: the columns of a rotation, and an origin."""
    columns = [[row[index] for row in rotation] for index in range(3)]
    return "".join("{" + ",".join(f"{float(value)!r}" for value in part) + "}" for part in (*columns, origin_mm))


def gdtf(modes: Mapping[str, Sequence[Channel]] | None = None) -> bytes:
    """A GDTF of a moving head; `modes`: name -> channels."""
    return build_gdtf([Mode(name, channels) for name, channels in (modes or {"Standard": SPOT_CHANNELS}).items()])
