"""JSON in one way only: the order of the elements as given, numbers as they were recorded."""

from decimal import Decimal
from json.encoder import encode_basestring
from typing import Any


def canonical(value: Any) -> bytes:
    """The JSON text in UTF-8, without spaces; 5.60 s stay 5.60.

    Raises: TypeError, for a float or anything else that JSON text could hold in several ways.
    """
    parts: list[str] = []
    _write(value, parts)
    return "".join(parts).encode()


def _write(value: Any, parts: list[str]) -> None:
    if isinstance(value, str):
        parts.append(encode_basestring(value))
    elif isinstance(value, bool):
        parts.append("true" if value else "false")
    elif isinstance(value, int):
        parts.append(str(value))
    elif isinstance(value, Decimal):
        parts.append(f"{value:f}")
    elif isinstance(value, dict):
        parts.append("{")
        for place, (key, held) in enumerate(value.items()):
            parts.append(f"{',' if place else ''}{encode_basestring(key)}:")
            _write(held, parts)
        parts.append("}")
    elif isinstance(value, list):
        parts.append("[")
        for place, held in enumerate(value):
            if place:
                parts.append(",")
            _write(held, parts)
        parts.append("]")
    else:
        raise TypeError(f"{type(value).__name__}: cannot be written in one way only")
