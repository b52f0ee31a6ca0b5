"""Serving: a port that is free, the address said, the browser opened, and a clean end."""

from __future__ import annotations

import contextlib
import secrets
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from graylight.errors import BadInput
from graylight.server.app import guarded
from graylight.server.day import day_strip
from graylight.server.desk import Desk
from graylight.server.security import Rules

__all__ = ["PORT", "Serving", "listening", "serve"]

PORT = 8417
TRIES = 50
LOOPBACK, ANYWHERE = "127.0.0.1", "0.0.0.0"
CALM_S = 2.0
PATIENCE_S = 2
"""How long open streams are waited for at the end."""
LAST_WORD_S = 0.1
"""How long the end of a stream takes to leave, once nobody listens."""


def listening(host: str, port: int) -> socket.socket:
    """A socket on the port, or on the next that is free.

    Raises
    ------
    BadInput
        None of the next ports is free, or the port is none.
    """
    if not 0 <= port <= 65535:
        raise BadInput(f"port {port}; accepted is 1024 to 65535, or 0 for any that is free; choose one")
    for tried in range(port, min(port + TRIES, 65536)):
        # the protocol is named, or answers in two pieces would wait 40 ms for each other (no TCP_NODELAY is set then)
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        if sys.platform != "win32":  # there it would let two servers have one port
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind((host, tried))
            bound.listen(128)
        except OSError:
            bound.close()
            continue
        return bound
    raise BadInput(
        f"the ports {port} to {port + TRIES - 1} can't be had; accepted is a free one; give --port another"
    )


def serve(
    folder: Path | None,
    home: Path,
    *,
    port: int = PORT,
    lan: bool = False,
    browser: bool = True,
    say: Callable[[str], None] = print,
) -> None:
    """Serve until stopped.

    Parameters
    ----------
    folder
        The country to open; None: one is made or picked on the page.
    home
        Where countries made on the page lie.
    port
        Where to listen; the next free one if it is taken.
    lan
        Let other devices in, by a link with a token.
    browser
        Open the page in the browser.
    say
        Where the address is said.
    """
    desk = Desk(home, folder)
    bound = listening(ANYWHERE if lan else LOOPBACK, port)
    taken = bound.getsockname()[1]
    if port not in (0, taken):
        say(f"Port {port} is taken; this is port {taken}.")
    token = secrets.token_urlsafe(24) if lan else None
    addresses = [_own_address()] if lan else []
    server = _server(
        desk, Rules(_hosts(taken, addresses), token)
    )  # whatever fails, fails before the address is said
    address = f"http://{LOOPBACK}:{taken}/" + (f"?token={token}" if token else "")
    say(f"The map page: {address}")
    for line in _lan_words(addresses, taken, token):
        say(line)
    say("Ctrl-C ends it.")
    if browser:
        threading.Timer(0.3, _open_browser, [address]).start()
    threading.Thread(target=_warm, args=[desk], name="graylight-warm", daemon=True).start()
    server.run(sockets=[bound])


def _server(desk: Desk, rules: Rules) -> Serving:
    config = uvicorn.Config(
        guarded(desk, rules), log_level="error", access_log=False, server_header=False, date_header=False,
        lifespan="on", ws="none", timeout_graceful_shutdown=PATIENCE_S, h11_max_incomplete_event_size=32 * 1024,
    )  # fmt: skip
    return Serving(config, desk)


class Serving(uvicorn.Server):
    """The server; told to stop, it first ends the streams, which would otherwise be waited for."""

    def __init__(self, config: uvicorn.Config, desk: Desk) -> None:
        super().__init__(config)
        self._desk = desk
        self._ending = False

    def handle_exit(self, sig: int, frame: object) -> None:
        """Stop; a signal may come while this very thread holds the stream's lock, so another thread ends the streams."""
        if self._ending:  # told twice: at once
            super().handle_exit(sig, frame)  # type: ignore[arg-type]
            return
        self._ending = True
        threading.Thread(target=self._end, args=[sig, frame], name="graylight-close").start()

    def _end(self, sig: int, frame: object) -> None:
        """End the streams with their last word before the server cuts whatever is open."""
        self._desk.stream.close()
        until = time.monotonic() + PATIENCE_S
        while self._desk.stream.listeners and time.monotonic() < until:
            time.sleep(0.02)
        time.sleep(LAST_WORD_S)
        super().handle_exit(sig, frame)  # type: ignore[arg-type]


def _warm(desk: Desk) -> None:
    """Read what the first look needs before it is asked for."""
    with contextlib.suppress(Exception):  # whoever asks meets the same error, and is told
        opened = desk.opened
        opened.warm()
        time.sleep(CALM_S)  # first things first: the page is being shown
        day_strip(opened, opened.country.grid.center, opened.as_planned.settings.date)


def _hosts(port: int, addresses: list[str]) -> frozenset[str]:
    names = ("127.0.0.1", "localhost", "[::1]", *addresses)
    return frozenset(f"{name}:{port}" for name in names)


def _own_address() -> str:
    """The machine's address on its network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK


def _lan_words(addresses: list[str], port: int, token: str | None) -> list[str]:
    if token is None:
        return []
    return [
        *(f"From another device on this network: http://{one}:{port}/?token={token}" for one in addresses),
        "Whoever has this link can see and change the country while this runs, and on an open network the traffic can "
        "be read along: use it on a network you trust, and end it when you are done.",
    ]


def _open_browser(address: str) -> None:
    with contextlib.suppress(Exception):
        webbrowser.open(address)
