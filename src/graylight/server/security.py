"""Who may ask, and what every answer says to the browser: guards as plain ASGI, so that streams are not held up."""

from __future__ import annotations

import hmac
import re
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from graylight.server.problems import problem

__all__ = ["COOKIE", "CSP", "Guard", "Rules"]

CSP = (
    "default-src 'none'; script-src 'self'; worker-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_SAID = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), usb=(), payment=()",
}
COOKIE = "graylight"
_WRITES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
_WITH_BODY = frozenset({"POST", "PUT", "PATCH"})
_MB = 2**20
_FIELD_FILES = [f"/api/field-files{what}" for what in ("", "/outing", "/sightings", "/trails")]


@dataclass(frozen=True, slots=True)
class Rules:
    """What is let in.

    Parameters
    ----------
    hosts
        Host headers that are answered, with the port: a page elsewhere that points its own name here has another.
    token
        With one, every request must carry it as a cookie; the link with ?token= hands the cookie over. None: loopback.
    bodies
        Paths that take another body than JSON: by path, the media types' beginning and the most bytes.
    most_json
        Most bytes of a JSON body.
    most_at_once
        Requests that are inside, worked on or waiting, open streams among them; one more is sent away.
    """

    hosts: frozenset[str]
    token: str | None = None
    bodies: dict[str, tuple[str, int]] = field(
        default_factory=lambda: {
            "/api/photos": ("image/", 40 * _MB),
            "/api/countries": ("multipart/form-data", 2048 * _MB),
            **dict.fromkeys(_FIELD_FILES, ("multipart/form-data", 32 * _MB)),
        }
    )
    most_json: int = _MB
    most_at_once: int = 128

    def most_bytes(self, path: str, media: str) -> int:
        """Most bytes of a body."""
        special = self.bodies.get(path)
        return special[1] if special is not None and media.startswith(special[0]) else self.most_json

    def takes(self, path: str, media: str) -> bool:
        """Whether a path takes a body of a media type."""
        special = self.bodies.get(path)
        return media == "application/json" or (special is not None and media.startswith(special[0]))


class Guard:
    """The guard in front of the application: host, origin, media type, size, token; and the headers of every answer.

    Parameters
    ----------
    app
        What it guards.
    rules
        What is let in.
    """

    def __init__(self, app: ASGIApp, rules: Rules) -> None:
        self.app = app
        self.rules = rules
        self._inside = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # there are no web sockets here
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await refused(scope, receive, _headed(send))
            return
        media = headers.get("content-type", "").split(";")[0].strip().lower()
        most = self.rules.most_bytes(scope["path"], media)
        if self._inside >= self.rules.most_at_once:
            full = problem(503, "too many questions at once; ask again in a moment", {"retry-after": "1"})
            await full(scope, receive, _headed(send))
            return
        self._inside += 1
        try:
            await self.app(scope, _measured(receive, most), _headed(send))
        finally:
            self._inside -= 1

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        """Why a request is not let in; None where it is."""
        checks = (self._host, self._origin, self._token, self._media, self._size)
        return next((no for check in checks if (no := check(scope, headers)) is not None), None)

    def _host(self, _: Scope, headers: Headers) -> Response | None:
        given = headers.getlist("host")
        if len(given) == 1 and given[0].lower() in self.rules.hosts:
            return None
        return problem(400, "this server is not called by that host name; use the address it printed")

    def _origin(self, scope: Scope, headers: Headers) -> Response | None:
        """Writes come from the page itself, or from no page at all."""
        if scope["method"] not in _WRITES:
            return None
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "same-origin")
        own = origin is None or origin.lower() == f"{scope['scheme']}://{headers['host'].lower()}"
        if own and site in {"same-origin", "none"}:
            return None
        return problem(403, "a page from elsewhere may not change anything here")

    def _token(self, scope: Scope, headers: Headers) -> Response | None:
        token = self.rules.token
        if token is None or _same(_cookie(headers), token):
            return None
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
        if scope["path"] == "/" and scope["method"] == "GET" and _same(given, token):
            return _welcome(token)
        return problem(401, "open the link with the token that was printed where the server runs")

    def _media(self, scope: Scope, headers: Headers) -> Response | None:
        if scope["method"] not in _WITH_BODY:
            return None
        media = headers.get("content-type", "").split(";")[0].strip().lower()
        if self.rules.takes(scope["path"], media):
            return None
        return problem(415, f"a body of {media or 'no media type'}; accepted is application/json")

    def _size(self, scope: Scope, headers: Headers) -> Response | None:
        said = headers.get("content-length", "0")
        media = headers.get("content-type", "").split(";")[0].strip().lower()
        most = self.rules.most_bytes(scope["path"], media)
        if re.fullmatch(r"\d{1,18}", said) and int(said) <= most:
            return None
        return problem(413, f"a body of {said} bytes; accepted are at most {most} here")


def _same(given: str, token: str) -> bool:
    return hmac.compare_digest(given.encode(), token.encode())


def _cookie(headers: Headers) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return kept[COOKIE].value if COOKIE in kept else ""


def _welcome(token: str) -> Response:
    """Hand the cookie over, and take the token out of the address."""
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", path="/")
    return answer


def _headed(send: Send) -> Send:
    """Put what the browser must know on every answer."""

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _SAID.items():
                headers[name] = value
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sending


def _measured(receive: Receive, most: int) -> Receive:
    """Stop a body that turns out longer than it may be, whatever its headers said."""
    got = 0

    async def receiving() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > most:
            raise HTTPException(413, f"a body of more than {most} bytes; accepted are at most so many here")
        return message

    return receiving
