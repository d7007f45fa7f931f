"""Numbers, matrices and XML as other programs want to read them."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from xml.etree.ElementTree import Element, indent, tostring

import numpy as np
from numpy.typing import ArrayLike

MM = 1000.0
_NOTHING = 1e-12  # what is left of a zero after some products
_DATE = (1980, 1, 1, 0, 0, 0)  # the same show gives the same octets
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def number_text(value: float) -> str:
    """All digits of a float, always with a point and never with an exponent."""
    return np.format_float_positional(0.0 if abs(value) < _NOTHING else float(value), unique=True, trim="0")


def matrix_text(rotation: ArrayLike, origin_mm: ArrayLike) -> str:
    """A matrix as MVR writes it (DIN SPEC 15801): the columns u, v, w of (3, 3), then the origin (3,) in mm."""
    rows = [*np.asarray(rotation, dtype=np.float64).T, np.asarray(origin_mm, dtype=np.float64)]
    return "".join("{" + ",".join(number_text(part) for part in row) + "}" for row in rows)


def plain(text: str) -> str:
    """Text without the characters that no XML may hold."""
    return _NOT_XML.sub("", text)


def xml_octets(root: Element) -> bytes:
    """A whole document, UTF-8, indented."""
    indent(root, space="  ")
    found: bytes = tostring(root, encoding="UTF-8", xml_declaration=True)
    return found + b"\n"


def zip_octets(members: Mapping[str, bytes]) -> bytes:
    """An archive of these members at its root, deflated, in this order."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, _DATE)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(info, data)
    return out.getvalue()
