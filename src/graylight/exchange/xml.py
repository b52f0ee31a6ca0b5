"""Small, safe XML: text cleaned of what XML 1.0 forbids, elements in the order they are added."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, SubElement, indent, tostring

__all__ = ["Element", "add", "document"]

_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters outside the production Char of XML 1.0 (section 2.2); ElementTree lets them through."""


def add(parent: Element, tag: str, text: str | None = None, /, **attributes: str) -> Element:
    """Append an element, with text if given, and hand it back."""
    child = SubElement(parent, tag, {name: _clean(value) for name, value in attributes.items()})
    if text is not None:
        child.text = _clean(text)
    return child


def document(root: Element) -> str:
    """The whole document as text, indented, to be written as UTF-8."""
    indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("", text)
