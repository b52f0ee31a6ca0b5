"""XML read safely: no document types, no entities, no remote parts, not too large; elements by their plain names."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from graylight.intake.found import Unusable

__all__ = ["children", "name_of", "root_of", "text_of"]

MOST_BYTES = 96 * 2**20


def root_of(path: Path) -> Element:
    """The root of an XML file.

    Raises
    ------
    Unusable
        It is too large, no XML, or uses document types or entities.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise Unusable(f"it has {size:,} bytes; accepted are {MOST_BYTES:,}; split it")
    try:
        root: Element = fromstring(path.read_bytes(), forbid_dtd=True)
    except DefusedXmlException:
        raise Unusable(
            "it uses XML entities or a document type, which could do harm; such a file is not opened"
        ) from None
    except (ParseError, ValueError, LookupError, RecursionError) as error:
        raise Unusable(f"it is not well-formed XML ({' '.join(str(error).split())[:80]})") from None
    return root


def name_of(element: Element) -> str:
    """An element's name without its namespace."""
    return str(element.tag).rpartition("}")[2]


def children(element: Element, *names: str) -> Iterator[Element]:
    """Children of some names."""
    return (child for child in element if name_of(child) in names)


def text_of(element: Element, name: str) -> str | None:
    """The text of the first child of a name; None where there is none."""
    for child in children(element, name):
        text = "".join(child.itertext()).strip()
        return text or None
    return None
