"""A thing with a shape and properties, as kept in the country's tables."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from shapely.geometry.base import BaseGeometry

__all__ = ["Feature", "plain_text"]

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


def plain_text(value: object) -> str:
    r"""Any value as one line of text: control characters, which neither XML nor a terminal bears, become blanks.

    >>> plain_text("Bare\x1b[31m\n Top "), plain_text(12)
    ('Bare [31m Top', '12')
    """
    text = value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)
    return " ".join(_CONTROL.sub(" ", text).split())


@dataclass(frozen=True, slots=True)
class Feature:
    """A point, line or area.

    Parameters
    ----------
    geometry
        In the country's CRS.
    properties
        By column; None where a column is empty.
    """

    geometry: BaseGeometry
    properties: dict[str, Any] = field(default_factory=dict)
