"""A loopback server that plays every open service, faults included. Run in a process of its own:

    python -m tests.unit.open_server FOLDER

It prints its port. POST /_faults sets faults; GET /_log tells every request and the most connections open at once.
"""

from __future__ import annotations

import json
import re
import sys
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from tests.unit import open_ground as ground

PAGE = 3
STATE = {
    "log": [],
    "faults": [],
    "open": 0,
    "most_open": 0,
    "busy": {},
    "most_busy": {},
    "signature": None,
    "round": 0,
}
LOCK = threading.Lock()


def settle():
    """Wait a little for what was answered to be logged, too: whoever has an answer may ask before that."""
    until = time.monotonic() + 0.3
    while any(STATE["busy"].values()) and time.monotonic() < until:
        time.sleep(0.005)


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    root: Path

    def setup(self):
        super().setup()
        with LOCK:
            STATE["open"] += 1
            STATE["most_open"] = max(STATE["most_open"], STATE["open"])

    def finish(self):
        try:
            super().finish()
        finally:
            with LOCK:
                STATE["open"] -= 1

    def log_message(self, *args):
        pass

    def do_HEAD(self):
        self.answer(body=False)

    def do_GET(self):
        self.answer()

    def do_POST(self):
        self.answer()

    def answer(self, body=True):
        split = urlsplit(self.path)
        length = int(self.headers.get("content-length") or 0)
        posted = self.rfile.read(length)
        if split.path.startswith("/_"):
            return self.control(split.path, posted)
        service = split.path.split("/")[1]
        with LOCK:
            begun = STATE["round"]
            STATE["busy"][service] = STATE["busy"].get(service, 0) + 1
            STATE["most_busy"][service] = max(STATE["most_busy"].get(service, 0), STATE["busy"][service])
        entry = {
            "method": self.command, "path": split.path, "query": split.query, "range": self.headers.get("range"),
            "agent": self.headers.get("user-agent"), "sent": 0, "status": 0, "posted": posted.decode("utf-8", "replace"),
        }  # fmt: skip
        try:
            self.served(split, posted, body, entry)
        finally:
            with LOCK:
                STATE["busy"][service] -= 1
                if begun == STATE["round"]:  # else an earlier test gave it up
                    STATE["log"].append(entry)

    def control(self, path, posted):
        settle()
        with LOCK:
            if path == "/_faults":
                STATE.update(faults=json.loads(posted), log=[], most_open=STATE["open"], most_busy={})
                STATE["round"] += 1
                self.send(200, b"{}", "application/json", {}, True, {})
            elif path == "/_signature":
                STATE["signature"] = json.loads(posted)
                self.send(200, b"{}", "application/json", {}, True, {})
            else:
                told = {key: STATE[key] for key in ("log", "most_open", "most_busy")}
                self.send(200, json.dumps(told).encode(), "application/json", {}, True, {})

    def served(self, split, posted, body, entry):
        fault = self.fault(split, posted)
        if fault is None:
            status, data, kind, headers = self.service(split, posted)
            return self.send(status, data, kind, headers, body, entry)
        time.sleep(fault.get("wait_s", 0))
        what = fault["what"]
        if what == "slow":
            status, data, kind, headers = self.service(split, posted)
            return self.send(status, data, kind, headers, body, entry)
        if what == "cut":
            status, data, kind, headers = self.service(split, posted)
            return self.send(status, data, kind, headers, body, entry, cut=True)
        if what in {"drip", "drip503"}:
            return self.drip(entry, 503 if what == "drip503" else 200)
        if what == "drop":
            self.close_connection = True
            return None
        data = fault.get("body", "<html><body>Please sign in</body></html>").encode()
        kind = fault.get("type", "text/html")
        return self.send(int(what), data, kind, fault.get("headers", {}), body, entry)

    def drip(self, entry, status):
        self.close_connection = True
        self.send_response(status)
        self.send_header("Content-Length", "100000")
        self.end_headers()
        for _ in range(100):
            try:
                self.wfile.write(b"x" * 100)
            except OSError:
                return
            entry["sent"] += 100
            time.sleep(0.1)

    def fault(self, split, posted):
        with LOCK:
            for fault in STATE["faults"]:
                told = f"{split.path}?{split.query} {posted.decode('utf-8', 'replace')}"
                if fault.get("times", 1) > 0 and re.search(fault["path"], told):
                    if fault.get("skip", 0) > 0:
                        fault["skip"] -= 1
                        continue
                    fault["times"] = fault.get("times", 1) - 1
                    return fault
        return None

    def send(self, status, data, kind, headers, body, entry, cut=False):
        entry["status"] = status
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(data)))
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()
        if not body:
            return
        out = data[: len(data) // 2] if cut else data
        self.wfile.write(out)
        entry["sent"] = len(out)
        if cut:
            self.close_connection = True

    def service(self, split, posted):
        base = f"http://127.0.0.1:{self.server.server_port}"
        path, query = split.path, {key: values[0] for key, values in parse_qs(split.query).items()}
        name = path.split("/")[1]
        if name in {"dem", "glo30", "glo90", "cover", "canopy", "fine", "scenes"}:
            return self.file(path, query)
        return getattr(self, f"play_{name}")(path, query, posted, base)

    def file(self, path, query):
        wanted = STATE["signature"]
        if path.startswith("/scenes") and wanted is not None and query.get("sig") != wanted:
            return (
                403,
                b"<Error><Code>AccessDenied</Code><Message>Signature has expired</Message></Error>",
                "application/xml",
                {},
            )
        file = self.root / path.lstrip("/")
        if not file.is_file():
            return 404, b"<Error><Code>NoSuchKey</Code></Error>", "application/xml", {}
        size = file.stat().st_size
        headers = {
            "Accept-Ranges": "bytes",
            "ETag": f'"{size}"',
            "Last-Modified": "Wed, 12 Apr 2023 10:00:00 GMT",
        }
        told = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("range") or "")
        if told is None:
            return 200, file.read_bytes(), "image/tiff", headers
        first, last = int(told[1]), min(int(told[2] or size), size - 1)
        if first >= size:
            return 416, b"", "text/plain", {"Content-Range": f"bytes */{size}"}
        with file.open("rb") as stream:
            stream.seek(first)
            data = stream.read(last - first + 1)
        return 206, data, "image/tiff", {**headers, "Content-Range": f"bytes {first}-{last}/{size}"}

    def play_stac(self, path, query, posted, base):
        wanted = STATE["signature"]
        signature = f"?sig={wanted}" if wanted else ""
        asked = json.loads(posted)
        assert asked["collections"], asked
        assert len(asked["bbox"]) == 4, asked
        return self.json({"type": "FeatureCollection", "features": ground.items(base, signature=signature)})

    def play_overpass(self, path, query, posted, base):
        if path.endswith("status"):
            return 200, b"Rate limit: 2\n2 slots available now.\n", "text/plain", {}
        time.sleep(0.05)
        told = {"osm3s": {"timestamp_osm_base": "2026-11-20T00:00:00Z"}, "elements": ground.elements()}
        return self.json(told)

    def play_padus(self, path, query, posted, base):
        return self.layer("padus", path, query)

    def play_blm(self, path, query, posted, base):
        return self.layer("blm", path, query)

    def layer(self, kind, path, query):
        if not path.endswith("/query"):
            return self.json({"maxRecordCount": PAGE, "objectIdField": "OBJECTID"})
        west, _, east, _ = map(float, query["geometry"].split(","))
        found = [
            f for f in ground.holdings(kind)
            if f["geometry"]["coordinates"][0][1][0] >= west and f["geometry"]["coordinates"][0][0][0] <= east
        ]  # fmt: skip
        first = int(query["resultOffset"])
        page = found[first : first + PAGE]
        more = first + PAGE < len(found)
        return self.json({"type": "FeatureCollection", "features": page, "exceededTransferLimit": more})

    def play_gnis(self, path, query, posted, base):
        return 200, ground.names_archive(), "application/zip", {}

    def play_nws(self, path, query, posted, base):
        if "graylight" not in (self.headers.get("user-agent") or ""):
            return 403, b"{}", "application/json", {}
        if "/points/" in path:
            return self.json({"properties": {"forecastGridData": f"{base}/nws/gridpoints/SLC/1,2"}})
        return self.json(ground.grid_forecast())

    def play_tnm(self, path, query, posted, base):
        days = {"old": "2018-05-01", "new": "2022-06-01"}
        found = [
            {"downloadURL": f"{base}/fine/USGS_1M_12_{name}.tif", "publicationDate": day}
            for name, day in days.items()
        ]
        return self.json({"total": 2, "items": found})

    def play_nlcd(self, path, query, posted, base):
        box = list(map(float, query["BBOX"].split(",")))
        return 200, ground.national_cover(box, int(query["width"]), int(query["height"])), "image/tiff", {}

    def play_naip(self, path, query, posted, base):
        box = list(map(float, query["bbox"].split(",")))
        cols, rows = map(int, query["size"].split(","))
        return 200, ground.photograph(box, cols, rows, int(query["imageSR"])), "image/tiff", {}

    def play_terrain(self, path, query, posted, base):
        zoom, col, row = map(int, re.findall(r"\d+", path))
        return 200, ground.terrain_tile(zoom, col, row), "image/png", {}

    def play_pictures(self, path, query, posted, base):
        return 200, ground.picture_tile(), "image/jpeg", {}

    def json(self, given):
        return 200, json.dumps(given).encode(), "application/json", {}


def main() -> None:
    Handler.root = Path(sys.argv[1])
    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    server.handle_error = lambda *_: None  # who asked may have been killed
    print(server.server_port, flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main()
