"""The built page, held in memory: an address is looked up, and never becomes a path on the disk."""

from __future__ import annotations

import gzip
import mimetypes
from dataclasses import dataclass
from hashlib import sha256
from importlib.resources import files
from importlib.resources.abc import Traversable

from starlette.requests import Request
from starlette.responses import Response

from graylight.server.problems import problem

__all__ = ["Page", "built_pages", "serve_page"]

_MEDIA = {
    ".js": "text/javascript", ".mjs": "text/javascript", ".css": "text/css", ".html": "text/html; charset=utf-8",
    ".svg": "image/svg+xml", ".woff2": "font/woff2", ".json": "application/json", ".png": "image/png",
    ".webmanifest": "application/manifest+json", ".txt": "text/plain; charset=utf-8", ".ico": "image/x-icon",
}  # fmt: skip
"""Said here, because on Windows the registry may call a script plain text."""
_PACKED = frozenset({".js", ".mjs", ".css", ".html", ".svg", ".json", ".webmanifest", ".txt"})
_MISSING = (
    "<!doctype html><meta charset=utf-8><title>graylight</title><p>The map page was not built into this installation. "
    "Install graylight again from its sources, or use the answers below /api/."
)


@dataclass(frozen=True, slots=True)
class Page:
    """A file of the page."""

    data: bytes
    packed: bytes | None
    media: str
    tag: str


def built_pages() -> dict[str, Page]:
    """All files of the built page by their address; a word of explanation where none was built."""
    root = files("graylight").joinpath("web")
    found = dict(_below(root, "/")) if root.is_dir() else {}
    if "/index.html" not in found:
        found["/index.html"] = _page("index.html", _MISSING.encode())
    return {"/": found["/index.html"], **found}


def _below(folder: Traversable, at: str) -> list[tuple[str, Page]]:
    found = []
    for one in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if one.is_dir():
            found += _below(one, f"{at}{one.name}/")
        elif not one.name.endswith((".py", ".map")):
            found.append((at + one.name, _page(one.name, one.read_bytes())))
    return found


def _page(name: str, data: bytes) -> Page:
    end = "." + name.rsplit(".", 1)[-1].lower()
    media = _MEDIA.get(end) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    packed = gzip.compress(data, 6, mtime=0) if end in _PACKED else None
    return Page(data, packed, media, f'"{sha256(data).hexdigest()[:20]}"')


def serve_page(pages: dict[str, Page], request: Request) -> Response:
    """A file of the page."""
    path = request.scope["path"]
    page = pages.get(path)
    if page is None:
        return problem(404, "nothing is at that address; accepted are / and what the page asks for")
    # names below /assets/ carry a mark of what they hold
    keep = "public, max-age=31536000, immutable" if path.startswith("/assets/") else "no-cache"
    headers = {"etag": page.tag, "cache-control": keep, "vary": "accept-encoding"}
    if request.headers.get("if-none-match") == page.tag:
        return Response(status_code=304, headers=headers)
    if page.packed is not None and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(page.packed, media_type=page.media, headers={**headers, "content-encoding": "gzip"})
    return Response(page.data, media_type=page.media, headers=headers)
