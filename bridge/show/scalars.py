"""Plain scalars as the core schema of YAML 1.2.2 (section 10.3.2) reads them: `no` is text, `010` is ten."""

from __future__ import annotations

import math
import re

Scalar = None | bool | int | float | str

_NULL = {"", "~", "null", "Null", "NULL"}
_TRUE = {"true", "True", "TRUE"}
_FALSE = {"false", "False", "FALSE"}
_INT = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEX = re.compile(r"0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_INFINITE = re.compile(r"([-+]?)\.(inf|Inf|INF)")
_NAN = {".nan", ".NaN", ".NAN"}
_MOST_DIGITS = 400  # beyond any float; Python refuses to convert very long digit strings


def resolve(text: str) -> Scalar:
    """The value that a plain (unquoted) scalar stands for. Never raises."""
    if text in _NULL:
        return None
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if text[0] not in "0123456789+-.":  # most scalars are words
        return text
    return _number(text)


def _number(text: str) -> Scalar:
    if _INT.fullmatch(text):
        return int(text) if len(text) <= _MOST_DIGITS else math.copysign(math.inf, -1 if text[0] == "-" else 1)
    if _OCTAL.fullmatch(text):
        return int(text[2:], 8)
    if _HEX.fullmatch(text):
        return int(text[2:], 16)
    if _FLOAT.fullmatch(text):
        return float(text)
    if match := _INFINITE.fullmatch(text):
        return -math.inf if match[1] == "-" else math.inf
    return math.nan if text in _NAN else text
