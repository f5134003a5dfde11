"""Requests to the page, asked of the application itself without a socket: for scripts/fuzz.py."""

from __future__ import annotations

import asyncio
import copy
import io
import json
import logging
import random
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

PORT = 8000
TOKEN = "token"
CHART = {
    "format": "onecolour chart",
    "version": 1,
    "title": "Star",
    "rows": ["#.#.", ".##.", "#..#"],
    "lines": [[[0, 0], [1, 1]]],
}
LAST = 200
"""Requests after which the pieces are made anew."""

STEPS: list[Any] = [
    {"change": {"options": {"wide": 20}}, "label": "width", "revision": 0},
    {"change": {"options": {"fit": [80, 60], "fabric": [14, 2], "hours": 5, "skeins": 2}}, "label": "x", "revision": 0},
    {"change": {"settings": {"dark": 60, "crop": [5, 5, 90, 90], "turn": 90, "mirror": "none"}}, "revision": 0},
    {"change": {"settings": {"lines": "edges", "detail": 40, "tidy": 2, "invert": True, "subject": [1, 2, 50, 60]}}},
    {"change": {"name": "Ä piece", "border": {"strips": ["dots"], "gap": 2}}, "label": "border", "revision": 0},
    {"change": {"letters": {"text": "A B", "place": "below", "size": "auto", "method": "crosses"}}, "revision": 0},
    {"hand": {"rows": 3, "columns": 4, "cells": [0, 1, 1, 2, 2, 0], "lines": [[0, 0, 1, 0, 1]]}, "revision": 0},
    {"hand": {"rows": 3, "columns": 4, "release": [0, 0, 3, 4], "hold": True}, "label": "hand", "revision": 0},
    {"area": {"rows": 3, "columns": 4, "do": "clear", "box": [0, 0, 2, 2]}, "label": "part", "revision": 0},
    {"area": {"drop": "1"}, "label": "back", "revision": 0},
    {"change": {"options": {"thread_colour": "navy", "ground": "#eeddcc", "strands": 2, "pace": 80, "units": "in"}}},
    {"widths": [10, 20, 30], "change": {"options": {"wide": 10}}, "full": True},
    {"revision": 0},
    {},
]
WRITERS = ("steps", "undo", "redo", "preview", "fit", "sizes", "borders", "copy", "throw-away", "bring-back")
READERS = ("", "/facts", "/rows", "/squares", "/picture.jpg", "/take/chart-picture", "/take/report", "/take/figures",
           "/take/chart-file", "/take/left-out", "/take/cloth-picture", "/take/chart-drawing")  # fmt: skip
ODD: list[Any] = [
    None, True, False, 0, -1, 1, 2, 3.5, 1e308, -1e-320, 2**63, -(2**70), 10**400, "", "x", "é\u202e\ud800\0", "NaN",
    [], [[]], {}, {"a": {}}, [0] * 300, "9" * 5000, "../..", "__proto__", ["dots"], [1, 2], [1, 2, 3, 4],
]  # fmt: skip


def page_seeds() -> list[bytes]:
    """Return requests as bytes: method, address, headers as JSON, and body, each but the last ending with a line."""
    seeds = [request("GET", path) for path in ("/", "/api/session", "/api/pieces", "/static/app.js", "/nothing")]
    seeds += [request("GET", f"/api/pieces/{{{piece}}}{what}") for piece in (0, 1) for what in READERS]
    for piece in (0, 1):
        for body in STEPS:
            for what in WRITERS:
                if ("revision" in body) == (what in ("steps", "undo", "redo")):
                    seeds.append(request("POST", f"/api/pieces/{{{piece}}}/{what}", body))
    seeds.append(request("POST", "/api/pieces", CHART, {"x-file-name": "a%20star.chart.json"}))
    return seeds


def request(method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> bytes:
    text = "" if body is None else json.dumps(body)
    return f"{method}\n{path}\n{json.dumps(headers or {})}\n{text}".encode()


def changed_request(rng: random.Random, seeds: list[bytes]) -> bytes:
    """Return a request with a few of its values, or of its bytes, replaced."""
    method, path, headers, body = rng.choice(seeds).decode().split("\n", 3)
    if rng.random() < 0.04:
        method = rng.choice(["PUT", "DELETE", "HEAD", "OPTIONS", "PATCH", "GET", "POST"])
    if rng.random() < 0.06:
        path = rng.choice(["/api/pieces/..%2f..", "/api/pieces/" + "f" * 16, "/static/../guard.py", path + "/x",
                           "//", "/api/pieces/{0}/take/" + rng.choice(["x", "%00", "leaflet", ".."])])  # fmt: skip
    if rng.random() < 0.05:
        name = rng.choice(["host", "origin", "sec-fetch-site", "x-onecolour-token", "content-length", "x-file-name"])
        headers = json.dumps({name: rng.choice(["", "evil", "null", "%ff%00", "1e9", "-1", "cross-site", "9" * 30])})
    data = body.encode()
    if body:
        value = json.loads(body)
        for _ in range(rng.randint(0, 3)):
            value = _changed(rng, value)
        data = json.dumps(value).encode()
        if rng.random() < 0.08 and data:
            at = rng.randrange(len(data))
            data = data[:at] + bytes([rng.randrange(256)]) * rng.randint(0, 3) + data[at + rng.randint(0, 2) :]
    return f"{method}\n{path}\n{headers}\n".encode() + data


def _changed(rng: random.Random, value: Any) -> Any:
    """Return the value with one of its parts, at any depth, replaced, dropped or joined by a stray one."""
    value = copy.copy(value)
    if isinstance(value, dict) and value:
        key = rng.choice(list(value))
        if rng.random() < 0.75 and isinstance(value[key], (dict, list)):
            value[key] = _changed(rng, value[key])
        elif rng.random() < 0.15:
            del value[key]
        elif rng.random() < 0.15:
            value[rng.choice(["name", "wide", "dark", "border", "x", "hold", "release"])] = rng.choice(ODD)
        else:
            value[key] = _near(rng, value[key])
    elif isinstance(value, list) and value:
        at = rng.randrange(len(value))
        if rng.random() < 0.2:
            del value[at]
        elif rng.random() < 0.5 and isinstance(value[at], (dict, list)):
            value[at] = _changed(rng, value[at])
        else:
            value[at] = _near(rng, value[at])
    else:
        value = _near(rng, value)
    return value


def _near(rng: random.Random, value: Any) -> Any:
    if isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e9 and rng.random() < 0.6:
        return rng.choice([value + 1, value - 1, -value, value * 10, value / 2, float(value), rng.randint(-5, 120)])
    return rng.choice(ODD)


class Page:
    """The application on a folder of its own with a chart and a small picture; asks it one request at a time."""

    def __init__(self) -> None:
        logging.disable(logging.CRITICAL)
        self.loop = asyncio.new_event_loop()
        self.faults: list[BaseException] = []
        self.asked = 0
        self._fresh()

    def _fresh(self) -> None:
        from converter.jobs.workspace import Workspace
        from converter.page import server
        from converter.page.studio import Studio

        self.folder = tempfile.TemporaryDirectory()
        self.workspace = Workspace(Path(self.folder.name))
        self.app = server.make_app(Studio(self.workspace), PORT, TOKEN)
        marks = np.full((24, 30, 3), 255, np.uint8)
        marks[5:18, 6:9] = marks[8:11, 6:25] = 0
        stream = io.BytesIO()
        Image.fromarray(marks).save(stream, format="PNG")
        self.pieces = [
            json.loads(self._send("POST", "/api/pieces", {"x-file-name": name}, data)[1])["id"]
            for name, data in (("star.chart.json", json.dumps(CHART).encode()), ("key.png", stream.getvalue()))
        ]

    def ask(self, data: bytes) -> None:
        """Ask, and hold the answer to its promises."""
        from converter.errors import UsageError

        self.asked += 1
        if self.asked % LAST == 0:
            self.workspace.close()
            self.folder.cleanup()
            self._fresh()
        method, path, headers, body = data.split(b"\n", 3)
        where = path.decode("latin-1")
        for number, piece in enumerate(self.pieces):
            where = where.replace(f"{{{number}}}", piece)
        if where.endswith(("/steps", "/undo", "/redo")):
            body = self._revised(where, body)
        status, answer = self._send(method.decode("latin-1"), where, json.loads(headers), body)
        if status == 500:
            raise self.faults.pop() if self.faults else AssertionError("status 500")
        assert 200 <= status < 500 or status == 507, f"status {status}"
        if status >= 400 and method != b"HEAD":
            told = json.loads(answer)
            assert told["message"] and "\n" not in told["message"] and len(told["message"]) < 400, told
            raise UsageError("refused")

    def _revised(self, where: str, body: bytes) -> bytes:
        """Return the body with the revision that the piece has now, where it names 0."""
        try:
            value = json.loads(body)
            if value["revision"] == 0:
                value["revision"] = self.workspace.history(where.split("/")[3]).revision
        except Exception:
            return body
        return json.dumps(value).encode()

    def _send(self, method: str, path: str, headers: dict[str, str], body: bytes) -> tuple[int, bytes]:
        from urllib.parse import unquote

        known = {"host": f"127.0.0.1:{PORT}", "x-onecolour-token": TOKEN, **headers}
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
            "path": unquote(path, errors="replace"), "raw_path": path.encode("latin-1"), "query_string": b"",
            "root_path": "", "headers": [(k.encode(), v.encode("latin-1")) for k, v in known.items()],
            "client": ("127.0.0.1", 1), "server": ("127.0.0.1", PORT),
        }  # fmt: skip
        sent: list[Any] = []

        waiting = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> dict[str, Any]:
            if not waiting:
                await asyncio.Event().wait()  # the browser stays and waits for its answer
            return waiting.pop()

        async def send(message: Any) -> None:
            sent.append(message)

        async def run() -> None:
            try:
                await self.app(scope, receive, send)
            except Exception as error:  # the framework sends its answer first, then lets the fault go on
                self.faults.append(error)

        self.loop.run_until_complete(run())
        assert sent and sent[0]["type"] == "http.response.start", "no answer"
        return sent[0]["status"], b"".join(m.get("body", b"") for m in sent[1:])
