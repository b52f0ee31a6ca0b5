"""A thing with a shape and properties, as kept in the country's tables."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from shapely.geometry.base import BaseGeometry

__all__ = ["Feature"]


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
