"""Plain data -> YAML that is good to read: names in blocks, vectors and sightings as one row each.

What is written reads the same under YAML 1.1 and 1.2: a text that either would take for something else is quoted.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from bridge.show.scalars import resolve

DECIMALS = 9  # of a degree or a metre; smaller values (a covariance) keep as many digits, not decimals
_SMALL = 1e-3
_BLOCK_DEPTH = 3  # `fixtures:`, a fixture's name, its keys; deeper values are one row
_PLAIN = re.compile(r"[A-Za-z_]([A-Za-z0-9_./+-]|[ ](?=[A-Za-z0-9_./+-]))*")
_YAML_1_1_WORDS = {"y", "n", "yes", "no", "on", "off", "true", "false", "null"}


def to_yaml(document: Mapping[str, Any]) -> str:
    """The text of one document. Takes mappings, sequences, numpy arrays and numbers, text, booleans and None.

    Raises ValueError on a number that is not finite, and TypeError on anything else that has no plain form.
    """
    return "".join(line + "\n" for line in _block(document, 0))


def _block(mapping: Mapping[str, Any], depth: int) -> list[str]:
    indent = "  " * depth
    lines = []
    for key, raw in mapping.items():
        value, name = _plain_data(raw), _key(key)
        if isinstance(value, Mapping) and value and depth + 1 < _BLOCK_DEPTH:
            lines += [f"{indent}{name}:", *_block(value, depth + 1)]
        elif isinstance(value, list) and depth + 1 < _BLOCK_DEPTH and any(_nested(item) for item in value):
            lines += [f"{indent}{name}:", *(f"{indent}  - {_row(item)}" for item in value)]
        else:
            lines.append(f"{indent}{name}: {_row(value)}")
    return lines


def _nested(item: Any) -> bool:
    return isinstance(_plain_data(item), Mapping | list)


def _row(raw: Any) -> str:
    """Any value in one line, flow style."""
    value = _plain_data(raw)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)}: {_row(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_row(item) for item in value) + "]"
    return _scalar(value)


def _plain_data(value: Any) -> Any:
    """numpy's arrays and numbers as Python's, every sequence as a list."""
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return list(value)
    return value


def _scalar(value: Any) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, str):
        return _text(value)
    raise TypeError(f"cannot write {type(value).__name__} as YAML")


def number(value: float) -> str:
    """A finite number with up to DECIMALS decimals, or digits where it is small: none becomes zero by rounding."""
    if not math.isfinite(value):
        raise ValueError(f"cannot write the number {value}: it is not finite")
    if value == 0.0:
        return "0.0"
    if abs(value) < _SMALL:  # the sign of a tilt is its face, however small it is
        mantissa, exponent, power = f"{value:.{DECIMALS}g}".partition("e")
        return f"{mantissa}{'' if '.' in mantissa else '.0'}{exponent}{power}"
    rounded = f"{value:.{DECIMALS}f}".rstrip("0")
    return rounded + "0" * rounded.endswith(".")


def _key(key: Any) -> str:
    return str(key) if isinstance(key, int) and not isinstance(key, bool) else _text(str(key))


def _text(value: str) -> str:
    plain = _PLAIN.fullmatch(value) and value.lower() not in _YAML_1_1_WORDS and isinstance(resolve(value), str)
    if plain:
        return value
    quoted = json.dumps(value, ensure_ascii=False)
    return "".join(char if char.isprintable() else f"\\U{ord(char):08x}" for char in quoted)
