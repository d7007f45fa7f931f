"""Somebody's MVR, oddly written: built from pieces, so that a test knows every octet of it."""

from __future__ import annotations

import codecs
import io
import zipfile
from typing import NamedTuple
from xml.etree import ElementTree

import numpy as np
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bridge.exchange.writing import matrix_text

MARKS = {"utf-8": b"", "utf-8-sig": codecs.BOM_UTF8, "utf-16-le": codecs.BOM_UTF16_LE, "utf-16-be": codecs.BOM_UTF16_BE}
ENCODINGS = [*MARKS, "iso-8859-1", "windows-1252"]
ODD_BITS = [
    "",
    "<!-- <Fixture uuid='x'><Matrix>{1,2,3}</Matrix></Fixture> -->",
    "<?maker says='<Matrix>'?>",
    "<Maker:Own a='1' b=\"2\"/>",
    "<Note>ü &amp; &#x3e; <![CDATA[<Matrix>{0}</Matrix>]]></Note>",
    "\t \n",
]
MATRICES = [
    "<Matrix>{1,0,0}{0,1,0}{0,0,1}{100,200,300}</Matrix>",
    "<Matrix\n a='>' b = \"/>\" >{1,0,0}{0,1,0}{0,0,1}{1,2,3}</Matrix >",
    "<Matrix>\n  {1,0,0}{0,1,0}{0,0,1}{1,2,3}\n</Matrix>",
    "<Matrix><!-- old -->{1,0,0}{0,1,0}{0,0,1}{1,2,3}</Matrix>",
    "<Matrix><![CDATA[{1,0,0}{0,1,0}{0,0,1}{1,2,3}]]></Matrix>",
    "<Matrix>nonsense</Matrix>",
    "<Matrix></Matrix>",
    "<Matrix/>",
    "<Matrix a='/>' />",
    "",
]


class Made(NamedTuple):
    """The document, and the text before and behind what may change in it."""

    data: bytes
    before: bytes
    behind: bytes


@st.composite
def documents(draw: st.DrawFn, inner: str, tag: str = "Fixture") -> Made:
    """A scene with one fixture (`inner`: its children but the Matrix, its tag's attributes after a `|`)."""
    encoding = draw(st.sampled_from(ENCODINGS))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    attributes, _, children = inner.partition("|")
    bits = [draw(st.sampled_from(ODD_BITS)) for _ in range(6)]
    matrix = draw(st.sampled_from(MATRICES))
    named = encoding.removesuffix("-sig").removesuffix("-le").removesuffix("-be")
    layers, closing = [bits[0]], []
    for number in range(draw(st.integers(1, 3))):
        kind = "Layer" if number == 0 else draw(st.sampled_from(["GroupObject", "Truss", "SceneObject"]))
        above = f"<Matrix>{draw(matrices())}</Matrix>" if draw(st.booleans()) else ""
        layers.append(f'<{kind} name="{number} &gt; ä" uuid="{number}">{above}{bits[1]}<ChildList>')
        closing.insert(0, f"</ChildList></{kind}>")
    declared = f"<?xml version='1.0' encoding=\"{named}\"?>"
    start = f'{declared}<GeneralSceneDescription verMinor="6" verMajor="1" xmlns:Maker="x"><Scene><Layers>'
    before = start + "".join(layers) + bits[2] + f"<{tag} {attributes}>"
    rest = (
        children + bits[4] + f"</{tag} >" + "".join(closing) + f"</Layers>{bits[5]}</Scene></GeneralSceneDescription>"
    )
    parts = [(part.replace("\n", end)).encode(named_for(encoding)) for part in (before + bits[3], matrix, rest)]
    mark = MARKS.get(encoding, b"")
    if matrix:
        return Made(mark + b"".join(parts), mark + parts[0], parts[2])
    plain = before.replace("\n", end).encode(named_for(encoding))
    return Made(mark + b"".join(parts), mark + plain, parts[0][len(plain) :] + parts[2])


def named_for(encoding: str) -> str:
    """Python's name of it, without a mark."""
    return "utf-8" if encoding == "utf-8-sig" else encoding


@st.composite
def matrices(draw: st.DrawFn) -> str:
    """A matrix as MVR has it: turned, moved, often stretched too."""
    angles = [draw(st.integers(-180, 180)) for _ in range(3)]
    stretch = draw(st.sampled_from([1, 1, 2, 0.001, 25.4]))
    turn = Rotation.from_euler("ZYX", angles, degrees=True).as_matrix() * stretch
    return matrix_text(turn, [draw(st.integers(-20_000, 20_000)) for _ in range(3)])


def archive_of(data: bytes, name: str = "GeneralSceneDescription.xml") -> bytes:
    """Somebody's archive with that scene between two other files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.comment = b"drawn on a Thursday"
        for member, content in (("stage.3ds", b"\0\1" * 500), (name, data), ("Head@one.gdtf", b"PK not really")):
            archive.writestr(zipfile.ZipInfo(member, (2026, 11, 26, 1, 2, 4)), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def scene_xml(octets: bytes) -> bytes:
    """The scene's document in an archive."""
    return zipfile.ZipFile(io.BytesIO(octets)).read("GeneralSceneDescription.xml")


def worlds(data: bytes) -> dict[str, np.ndarray]:
    """World matrices (4, 4), mm, of fixtures by their name: by ElementTree and the standard's rows alone."""
    found: dict[str, np.ndarray] = {}

    def walk(element: ElementTree.Element, above: np.ndarray) -> None:
        text = "".join(element.findtext("Matrix") or "").strip()
        own = np.eye(4)
        if text:
            own[:3] = np.array([float(n) for n in text.strip("{}").replace("}{", ",").split(",")]).reshape(4, 3).T
        if element.tag == "Fixture":
            found[element.attrib.get("name", "")] = above @ own
        for child in element.findall("ChildList/*"):
            walk(child, above @ own)

    for layer in ElementTree.fromstring(data).findall("Scene/Layers/Layer"):
        walk(layer, np.eye(4))
    return found
