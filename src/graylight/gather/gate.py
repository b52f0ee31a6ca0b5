"""The one gate to the network: every byte goes through it, politely, with tries, waits and a store."""

from __future__ import annotations

import contextlib
import datetime as dt
import email.utils
import json
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple, TypeVar

import httpx2
import stamina

from graylight import __version__
from graylight.errors import Cancelled, SourceUnavailable
from graylight.gather.services import Service, Services
from graylight.gather.store import Answer, Store, now, request_key

__all__ = [
    "Checked",
    "Expired",
    "Gate",
    "NotThere",
    "Piece",
    "Refused",
    "Trouble",
    "Unreached",
    "as_json",
    "is_picture",
    "is_tiff",
    "is_zip",
]

MOST_BODY = 512 * 2**20
"""No single answer is larger; a service that sends more is not the one we know."""
MOST_JSON = 256 * 2**20
"""Read as a whole, it takes about seven times its size of memory. Ten miles of trails and water are a few megabytes."""
MOST_WORDS = 4000
"""Bytes of an error, or of a page that tells how busy a service is."""
WORDS_S = 10.0
TRY_AGAIN = frozenset({408, 425, 429, 500, 502, 503, 504})
ABSENT = frozenset({404, 410})
BUSY = 429
HOSTS_ENOUGH = 3
"""When so many can't be reached and none answers, nobody is asked twice."""
EXPIRED = re.compile(rb"expired|signature", re.IGNORECASE)
NEVER_AGE_S = float("inf")
T = TypeVar("T")

Checked = Callable[[bytes], None]
"""Looks at a body and raises `Trouble` or `Refused` where it is not what was asked for."""


class Refused(SourceUnavailable):
    """The service says no, and asking again would not help."""


class NotThere(Refused):
    """The service has nothing at this address."""


class Expired(Refused):
    """The address was signed, and the signature has run out: a new one must be asked for."""


class Trouble(SourceUnavailable):
    """Something went wrong that may pass.

    Parameters
    ----------
    message
        What.
    wait_s
        How long the service asks to wait; None: it does not say.
    """

    def __init__(self, message: str, wait_s: float | None = None) -> None:
        super().__init__(message)
        self.wait_s = wait_s


class Unreached(Trouble):
    """Nobody is there: the name is not known, or nothing listens."""


class Unnamed(Unreached):
    """The name of the host is not known, and nobody has answered yet: asking again at once does not change it."""


class Piece(NamedTuple):
    """A range of a file: its bytes, the size of the whole, its version and date of change as the server tells them."""

    data: bytes
    whole: int
    version: str
    changed: str | None


class Gate:
    """Asks services.

    Parameters
    ----------
    services
        The table; its manners are kept.
    store
        Where answers are kept.
    offline
        Answer from the store alone.
    again
        Ask again for what the store holds (not for ranges of rasters, which carry their version).

    Notes
    -----
    Safe between threads. Close it, or use it with `with`.
    """

    def __init__(
        self, services: Services, store: Store, *, offline: bool = False, again: bool = False
    ) -> None:
        manners = services.manners
        self.services, self.store, self.offline, self.again = services, store, offline, again
        self.stopped = threading.Event()
        self.received = 0
        self.requests = 0
        self._answered = False
        self._unreached: set[str] = set()
        self._count = threading.Lock()
        stamina.instrumentation.set_on_retry_hooks([])  # the report says what went wrong, not a log
        contact = f"; {manners.contact}" if manners.contact else ""
        self._client = httpx2.Client(
            headers={"User-Agent": f"graylight/{__version__} (terrain planning from open data{contact})"},
            limits=httpx2.Limits(
                max_connections=manners.connections, max_keepalive_connections=manners.connections
            ),
            timeout=httpx2.Timeout(manners.read_s, connect=manners.connect_s, pool=None),
            follow_redirects=True,
            max_redirects=5,
        )

    def __enter__(self) -> Gate:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    def ask(
        self,
        service: Service,
        url: str,
        *,
        params: Mapping[str, str] | None = None,
        form: Mapping[str, str] | None = None,
        post: Any = None,
        check: Checked | None = None,
        fresh_s: float = NEVER_AGE_S,
        again: bool = False,
    ) -> Answer:
        """An answer, from the store if it is there.

        Parameters
        ----------
        service
            Whom to ask.
        url, params
            Where.
        form, post
            Sent as a form or as JSON, by POST; else GET.
        check
            What the body must be.
        fresh_s
            A kept answer older than this is asked for again; where that fails, the old one is used.
        again
            Ask even if it is kept.

        Raises
        ------
        SourceUnavailable
            It can't be had: `NotThere`, `Refused`, or `Trouble` after the last try.
        """
        method = "GET" if form is None and post is None else "POST"
        request = self._request(service, method, url, params=params, data=form, json=post)
        key = request_key(request.method, str(request.url), request.content)
        held = self.store.held(key)
        if held is not None and (self.offline or not (self.again or again or held.age_s > fresh_s)):
            return _there(held, service)
        try:
            with self._in_line(service):
                answer = self._tried(service, lambda: self._once(service, request, check))
        except NotThere as error:
            answer = Answer(str(request.url), 404, str(error).encode(), now().isoformat())
        except SourceUnavailable:
            if held is not None and held.status == 200 and not again:
                return held
            raise
        self.store.keep(key, answer, licence=service.licence, credit=service.credit)
        return _there(answer, service)

    def piece(self, service: Service, url: str, start: int, end: int) -> Piece:
        """Bytes start to end (not included) of a file; fewer where the file ends before. Not kept here.

        Raises
        ------
        SourceUnavailable
            It can't be had.
        """
        headers = {"Range": f"bytes={start}-{end - 1}", "Accept-Encoding": "identity"}
        request = self._request(service, "GET", url, headers=headers)
        return self._tried(service, lambda: self._range_once(service, request, start, end))

    def _request(self, service: Service, method: str, url: str, **how: Any) -> httpx2.Request:
        """A request; addresses may come from a service, and be none."""
        try:
            return self._client.build_request(method, url, **how)
        except (httpx2.InvalidURL, ValueError, TypeError) as error:
            raise Refused(f"{service.title}: {url[:80]!r} is no address ({error})") from None

    @contextlib.contextmanager
    def _in_line(self, service: Service) -> Iterator[None]:
        if service.more.get("one_at_a_time") and not self.offline:
            with self.store.alone(service.key):
                yield
        else:
            yield

    def _tried(self, service: Service, once: Callable[[], T]) -> T:
        """Try as often as the manners allow, waiting longer each time, and as long as the service asks."""
        if self.offline:
            raise Trouble(f"{service.title} was not asked (offline), and nothing of it is kept")
        manners = self.services.manners

        def another(error: Exception) -> bool | float:
            if not isinstance(error, Trouble) or self.stopped.is_set():
                return False
            if (isinstance(error, Unnamed) and not self._answered) or (
                isinstance(error, Unreached) and self.alone
            ):
                return False
            if error.wait_s is None:
                return True
            return error.wait_s if error.wait_s <= manners.longest_wait_s else False

        for attempt in stamina.retry_context(
            on=another, attempts=manners.tries, timeout=None, wait_initial=manners.first_wait_s,
            wait_max=manners.longest_wait_s, wait_jitter=manners.first_wait_s,
        ):  # fmt: skip
            with attempt:
                self.check_wanted()
                return once()
        raise AssertionError("the last try returns or raises")

    @property
    def alone(self) -> bool:
        """Whether there seems to be no network: several hosts can't be reached, and none has answered yet."""
        return not self._answered and len(self._unreached) >= HOSTS_ENOUGH

    def check_wanted(self) -> None:
        """Raise `Cancelled` when the work is no longer wanted."""
        if self.stopped.is_set():
            raise Cancelled("gathering was stopped; what was had is kept")

    def _once(self, service: Service, request: httpx2.Request, check: Checked | None) -> Answer:
        with self._sent(service, request) as response:
            body = self._body(service, response, MOST_BODY)
        if check is not None:
            check(body)
        return Answer(str(request.url), 200, body, now().isoformat())

    def _range_once(self, service: Service, request: httpx2.Request, start: int, end: int) -> Piece:
        with self._sent(service, request) as response:
            if response.status_code != 206:
                raise Refused(
                    f"{service.title} does not hand out parts of files (status {response.status_code})"
                )
            told = re.fullmatch(r"bytes (\d+)-(\d+)/(\d+)", response.headers.get("content-range", ""))
            if told is None or int(told[1]) != start or int(told[2]) >= end:
                raise Trouble(f"{service.title} sent another part of a file than was asked for")
            data = self._body(service, response, end - start)
            modified = response.headers.get("last-modified", "")
            version = response.headers.get("etag") or modified
        if len(data) != int(told[2]) - start + 1:
            raise Trouble(f"{service.title} sent {len(data)} bytes of {int(told[2]) - start + 1}")
        return Piece(data, int(told[3]), version, _day(modified))

    @contextlib.contextmanager
    def _sent(self, service: Service, request: httpx2.Request) -> Iterator[httpx2.Response]:
        with self._count:
            self.requests += 1
        try:
            response = self._client.send(request, stream=True)
            self._answered = True
            try:
                if not response.is_success:
                    raise self._said_no(service, response)
                yield response
            finally:
                response.close()
        except (httpx2.UnsupportedProtocol, httpx2.TooManyRedirects) as error:
            raise Refused(f"{service.title}: {error}") from None
        except httpx2.ConnectError as error:
            with self._count:
                self._unreached.add(request.url.host)
            if _unnamed(error) and not self._answered:
                raise Unnamed(
                    f"{service.title} can't be reached, the name {request.url.host!r} is not known: is there a network?"
                ) from None
            hint = ", nor any other: is there a network?" if self.alone else f" ({error})"
            raise Unreached(f"{service.title} can't be reached{hint}") from None
        except httpx2.TimeoutException:
            raise Trouble(f"{service.title} did not answer in time") from None
        except httpx2.HTTPError as error:
            raise Trouble(f"{service.title}: {type(error).__name__}: {error}") from None

    def _said_no(self, service: Service, response: httpx2.Response) -> SourceUnavailable:
        """What a status that is no success means."""
        status = response.status_code
        body = self._beginning(response)
        words = _excerpt(body)
        if status in ABSENT:
            return NotThere(f"{service.title} has nothing at {response.request.url}")
        if status in TRY_AGAIN:
            wait_s = _wait(response)
            if status == BUSY and wait_s is None:
                wait_s = self._slot(service)
            return Trouble(f"{service.title} answered {status}{words}", wait_s)
        if status in (400, 403) and EXPIRED.search(body):
            return Expired(f"{service.title}: the address has expired (status {status})")
        return Refused(f"{service.title} answered {status}{words}")

    def _slot(self, service: Service) -> float | None:
        """Seconds until a service that says so on a page of its own has room again; None where it does not say."""
        page = service.more.get("status")
        if not page:
            return None
        try:
            with self._client.stream("GET", str(page)) as response:
                told = self._beginning(response).decode("utf-8", "replace")
        except httpx2.HTTPError:
            return None
        waits = [float(n) for n in re.findall(r"in (\d+) seconds", told)]
        return min(waits) if waits and "available now" not in told else None

    def _beginning(self, response: httpx2.Response) -> bytes:
        """The beginning of an answer of which only words are wanted; what comes too slowly is not waited for."""
        told = b""
        until = time.monotonic() + min(self.services.manners.whole_s, WORDS_S)
        for part in response.iter_bytes():
            self.check_wanted()
            told += part[:MOST_WORDS]
            if len(told) >= MOST_WORDS or time.monotonic() > until:
                break
        return told[:MOST_WORDS]

    def _body(self, service: Service, response: httpx2.Response, most: int) -> bytes:
        """The whole body, looked at as it comes so that a stop is heeded and no flood is taken."""
        parts, size = [], 0
        until = time.monotonic() + self.services.manners.whole_s
        for part in response.iter_bytes():
            self.check_wanted()
            if time.monotonic() > until:
                raise Trouble(f"{service.title} sends too slowly")
            size += len(part)
            if size > most:
                raise Refused(f"{service.title} sends more than the {most:,} bytes expected")
            with self._count:
                self.received += len(part)
            parts.append(part)
        return b"".join(parts)


def _unnamed(error: BaseException | None) -> bool:
    """Whether a connection failed for want of the host's address."""
    while error is not None:
        if isinstance(error, socket.gaierror):
            return True
        error = error.__cause__ or error.__context__
    return False


def _there(answer: Answer, service: Service) -> Answer:
    if answer.status != 200:
        raise NotThere(f"{service.title} has nothing at {answer.url}")
    return answer


def _wait(response: httpx2.Response) -> float | None:
    """Seconds that Retry-After asks for (RFC 9110, 10.2.3: seconds or a date)."""
    told = response.headers.get("retry-after", "").strip()
    if told.isdigit():
        return float(told)
    with contextlib.suppress(ValueError, TypeError):
        when = email.utils.parsedate_to_datetime(told)
        return max(0.0, (when - dt.datetime.now(dt.UTC)).total_seconds())
    return None


def _day(told: str) -> str | None:
    """The day of an HTTP date, YYYY-MM-DD."""
    with contextlib.suppress(ValueError, TypeError):
        return email.utils.parsedate_to_datetime(told).date().isoformat()
    return None


def _excerpt(body: bytes) -> str:
    """The beginning of an answer as one short line."""
    text = re.sub(r"<[^>]*>", " ", body[:2000].decode("utf-8", "replace"))
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return f": {text[:120]}" if text else ""


def as_json(body: bytes, title: str) -> Any:
    """The JSON of a body.

    Raises
    ------
    Refused
        There is more of it than can be read at once.
    Trouble
        It is none: a page of a proxy, or cut short.
    """
    if len(body) > MOST_JSON:
        raise Refused(
            f"{title} sent {len(body) / 2**20:.0f} MB of JSON, more than can be read at once ({MOST_JSON // 2**20} MB)"
        )
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        raise Trouble(f"{title} sent no JSON{_excerpt(body)}") from None


def is_tiff(body: bytes) -> bool:
    """Whether bytes begin as a TIFF or BigTIFF does."""
    return body[:4] in {b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"}


def is_picture(body: bytes) -> bool:
    """Whether bytes begin as a PNG or JPEG does."""
    return body[:8] == b"\x89PNG\r\n\x1a\n" or body[:3] == b"\xff\xd8\xff"


def is_zip(body: bytes) -> bool:
    """Whether bytes begin as a ZIP archive does."""
    return body[:4] == b"PK\x03\x04"
