"""How the tests of the packet read files: by programs and libraries that share no code with what wrote them."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

POPPLER = all(shutil.which(name) for name in ("pdfinfo", "pdffonts", "pdftotext", "pdftoppm"))
GDAL = shutil.which("gdalinfo") is not None
needs_poppler = pytest.mark.skipif(
    not POPPLER, reason="poppler-utils is not installed: pdfinfo, pdffonts, pdftotext, pdftoppm"
)
needs_gdal = pytest.mark.skipif(not GDAL, reason="gdal-bin is not installed: gdalinfo, ogrinfo")


def said_by(*words: str | Path) -> str:
    """What a program prints; it must end well."""
    done = subprocess.run(
        [str(word) for word in words], capture_output=True, text=True, check=True, timeout=120
    )
    return done.stdout


def pages_of(pdf: Path) -> int:
    """Page count by poppler."""
    (line,) = [one for one in said_by("pdfinfo", pdf).splitlines() if one.startswith("Pages:")]
    return int(line.split()[1])


def words_of(pdf: Path, page: int) -> list[tuple[float, float, float, float, str]]:
    """Boxes (points) and words of a page, by poppler."""
    import re
    from xml.sax.saxutils import unescape

    text = said_by("pdftotext", "-bbox", "-f", str(page), "-l", str(page), pdf, "-")
    found = re.findall(
        r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', text
    )
    return [(float(a), float(b), float(c), float(d), unescape(w)) for a, b, c, d, w in found]
