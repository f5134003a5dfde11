"""The served page over a real socket: who may ask, what is refused, and that nothing brings it down."""

from __future__ import annotations

import json
import random
import re
import socket
import threading

import pytest
from helpers.odd_pictures import png, tiff

from converter.page.guard import MAX_CHANGE_BYTES, MAX_PICTURE_BYTES
from converter.page.server import STATIC
from tests.page.conftest import TOKEN

STAR = "star.chart.json"


@pytest.fixture
def star(page, fixtures):
    return page.drop(fixtures / "charts" / STAR).json


def test_index_and_its_parts_are_served_with_a_policy(page):
    answer = page.get("/", token=False)
    assert answer.status == 200 and answer.headers["content-type"].startswith("text/html")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and "http" not in policy
    for path in re.findall(r'(?:src|href)="(/[^"]+)"', answer.body.decode()):
        part = page.get(path, token=False)
        assert part.status == 200, path
        assert part.headers["x-content-type-options"] == "nosniff"
    assert page.get("/static/app.js").headers["content-type"].startswith("text/javascript")


def test_no_file_of_the_page_names_another_place():
    for path in STATIC.rglob("*"):
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(
            r"https?:|//[a-z0-9-]+\.[a-z]|@import|integrity=|WebSocket|EventSource|sendBeacon", text
        ), path


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example", "", "0.0.0.0", "[::1]", "127.0.0.1:80@x"],
)
@pytest.mark.parametrize("path", ["/", "/api/session", "/api/pieces", "/static/app.js"])
def test_foreign_host_gets_nothing(page, host, path):
    answer = page.get(path, headers={"Host": host})
    assert answer.status in (400, 421)
    assert TOKEN.encode() not in answer.body


def test_loopback_names_are_answered(page):
    for host in ("127.0.0.1", "localhost"):
        assert page.get("/api/session", headers={"Host": f"{host}:{page.port}"}).status == 200


def test_two_host_headers_are_refused(page):
    with socket.create_connection(("127.0.0.1", page.port)) as wire:
        wire.sendall(
            f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nHost: evil\r\nConnection: close\r\n\r\n".encode()
        )
        assert wire.recv(100).split()[1] in (b"400", b"421")


@pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:1", "file://"])
def test_foreign_origin_may_neither_read_nor_write(page, fixtures, origin):
    for method, path in (("GET", "/api/session"), ("GET", "/api/pieces"), ("POST", "/api/pieces")):
        answer = page.ask(method, path, b"x", {"Origin": origin})
        assert answer.status == 403 and "access-control-allow-origin" not in answer.headers


def test_cross_site_fetch_is_refused_but_a_link_to_the_page_works(page):
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert page.get("/api/session", headers=headers).status == 403
    assert page.get("/static/app.js", headers=headers).status == 403
    assert page.get("/", headers={"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}).status == 200
    ours = {"Sec-Fetch-Site": "same-origin", "Origin": f"http://127.0.0.1:{page.port}"}
    assert page.get("/api/session", headers=ours).status == 200


@pytest.mark.parametrize("headers", [{}, {"X-Onecolour-Token": "wrong"}, {"X-Onecolour-Token": ""}])
def test_writing_needs_the_token(page, star, headers):
    piece = star["id"]
    for path in (
        "/api/pieces",
        f"/api/pieces/{piece}/steps",
        f"/api/pieces/{piece}/undo",
        f"/api/pieces/{piece}/throw-away",
    ):
        answer = page.ask("POST", path, b"{}", headers, token=False)
        assert answer.status == 403 and answer.json["error"] == "token"
    assert page.get(f"/api/pieces/{piece}").json["revision"] == star["revision"]


def test_only_the_loopback_address_is_listened_on(page):
    name = socket.gethostname()
    try:
        others = {info[4][0] for info in socket.getaddrinfo(name, None, socket.AF_INET)} - {"127.0.0.1"}
    except OSError:
        others = set()
    for address in others:
        if address.startswith("127."):
            continue
        with pytest.raises(OSError):
            socket.create_connection((address, page.port), timeout=1).close()


def test_large_bodies_are_cut_off(page, star):
    answer = page.ask("POST", f"/api/pieces/{star['id']}/steps", b"x" * (MAX_CHANGE_BYTES + 1))
    assert answer.status == 413
    answer = page.ask("POST", "/api/pieces", b"", {"Content-Length": str(MAX_PICTURE_BYTES + 1)})
    assert answer.status == 413
    assert page.get("/api/session").status == 200


def test_body_without_a_length_is_counted_too(page, star):
    with socket.create_connection(("127.0.0.1", page.port), timeout=20) as wire:
        head = (
            f"POST /api/pieces/{star['id']}/steps HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n"
            f"X-Onecolour-Token: {TOKEN}\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        wire.sendall(head.encode())
        chunk = b"%x\r\n" % 65536 + b"x" * 65536 + b"\r\n"
        try:
            for _ in range(MAX_CHANGE_BYTES // 65536 + 2):
                wire.sendall(chunk)
            wire.sendall(b"0\r\n\r\n")
        except OSError:
            pass
        got = wire.recv(200)
    assert got.split()[1] == b"413"
    assert page.get("/api/session").status == 200


def test_names_never_leave_the_folder(page, fixtures, tmp_path):
    for name in ("../../x.png", "/etc/passwd", "C:\\x.png", "a%2F..%2Fb", "%00", "x" * 3000, "%ff%fe"):
        answer = page.drop(fixtures / "charts" / STAR, name)
        assert answer.status == 201
        taken = page.get(f"/api/pieces/{answer.json['id']}/take/chart-file")
        assert taken.status == 200
        assert re.fullmatch(r"attachment; filename\*=UTF-8''[^/\\]+", taken.headers["content-disposition"])
    parts = {path.name for path in page.workspace.folder.iterdir()}
    assert all(re.fullmatch(r"[0-9a-f]{16}|\.in-use|thrown away", name) for name in parts)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/..%2fserver.py",
        "/static/%2e%2e/%2e%2e/errors.py",
        "/static//etc/passwd",
        "/api/pieces/../../x",
        "/api/pieces/%2e%2e",
        "/api/pieces/0000000000000000",
        "/api/pieces/0000000000000000/take/leaflet",
        "/api/nothing",
        "/favicon.ico",
    ],
)
def test_paths_lead_only_where_they_should(page, path):
    answer = page.get(path)
    assert answer.status in (404, 415)
    assert b"import" not in answer.body and b"root:" not in answer.body


def test_errors_are_said_in_words(page, star):
    piece = star["id"]
    body = {"revision": star["revision"], "change": {"options": {"wide": 3}}, "label": "x"}
    answer = page.post(f"/api/pieces/{piece}/steps", body)
    assert answer.status == 400 and "4 to 1000" in answer.json["hint"]
    answer = page.post(f"/api/pieces/{piece}/steps", {**body, "revision": 99, "change": {"name": "A"}})
    assert answer.status == 409 and answer.json["error"] == "stale"
    answer = page.ask("POST", "/api/pieces", b"no picture", {"X-File-Name": "x.png"})
    assert answer.status == 415 and answer.json["message"]


def test_two_windows_do_not_lose_each_others_work(page, star):
    """Each window sends steps on the revision it knows; refused ones are sent again on the newer one."""
    piece = star["id"]
    done: list[tuple[int, int]] = []

    def window(row: int) -> None:
        revision = star["revision"]
        for col in range(10):
            hand = {"rows": 17, "columns": 17, "cells": [row, col, 1], "hold": True}
            while True:
                body = {"revision": revision, "hand": hand, "label": "stitch"}
                answer = page.post(f"/api/pieces/{piece}/steps", body)
                if answer.status == 200:
                    revision = answer.json["revision"]
                    done.append((row, col))
                    break
                assert answer.status == 409
                revision = page.get(f"/api/pieces/{piece}").json["revision"]

    windows = [threading.Thread(target=window, args=(row,)) for row in (2, 5, 8)]
    for each in windows:
        each.start()
    for each in windows:
        each.join()
    answer = page.get(f"/api/pieces/{piece}").json
    assert len(done) == 30 and answer["view"]["corrections"] == 30
    assert answer["revision"] == star["revision"] + 30
    rows = page.get(f"/api/pieces/{piece}/rows").json["rows"]
    assert all(rows[row][:10] == "#" * 10 for row in (2, 5, 8))


def random_value(chance: random.Random, depth: int = 0):
    kind = chance.randrange(9 if depth < 4 else 6)
    if kind == 0:
        return chance.choice([None, True, False])
    if kind == 1:
        return chance.choice([0, -1, 1, 2**63, -(2**70), 10**400, 1e308, 0.1, -0.0])
    if kind in (2, 3):
        return "".join(chance.choice('ab/\\.\0\n"\ud800é<>%') for _ in range(chance.randrange(12)))
    if kind == 4:
        return chance.choice(["settings", "options", "name", "cells", "lines", "../..", "__proto__"])
    if kind == 5:
        return chance.randrange(-5, 1100)
    if kind == 6:
        return [random_value(chance, depth + 1) for _ in range(chance.randrange(5))]
    names = [
        "settings",
        "options",
        "hand",
        "change",
        "revision",
        "name",
        "cells",
        "lines",
        "rows",
        "columns",
        "wide",
        "dark",
        "crop",
        "border",
        "strips",
        "letters",
        "text",
        "label",
        "release",
        "widths",
        "gap",
        "onto",
    ]
    return {chance.choice(names): random_value(chance, depth + 1) for _ in range(chance.randrange(5))}


def malformed(chance: random.Random, piece: str) -> bytes:
    """One request that no page of ours sends."""
    what = chance.choice(
        ["steps", "undo", "redo", "preview", "fit", "sizes", "borders", "copy", "bring-back", "throw-away"]
    )
    if what == "throw-away":
        piece = chance.choice(["0" * 16, "..", "%2e%2e", "x"])
    if what == "copy":
        piece = "f" * 16
    path = chance.choice(
        [f"/api/pieces/{piece}/{what}"] * 6 + ["/api/pieces", "/api/pieces/%00/steps", "/\xff", "*", "//", "/api"]
    )
    value = random_value(chance)
    if chance.random() < 0.5:
        value = {
            "revision": chance.choice([1, 2, "1", None, -1]),
            "label": "x",
            chance.choice(["change", "hand"]): value,
        }
    body = json.dumps(value).encode()
    if chance.random() < 0.3:
        body = bytes(chance.randrange(256) for _ in range(chance.randrange(200)))
    elif chance.random() < 0.2:
        body = body[: chance.randrange(len(body) + 1)]
    elif chance.random() < 0.1:
        body = b"[" * 5000
    length = str(len(body)) if chance.random() < 0.85 else chance.choice(["-1", "x", "0", "1e3", str(len(body) + 50)])
    method = chance.choice(["POST"] * 8 + ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "GET", "", "PO ST"])
    version = chance.choice(["HTTP/1.1"] * 9 + ["HTTP/9.9", ""])
    token = TOKEN if chance.random() < 0.9 else "x"
    extra = chance.choice(
        ["", "", "X-A: " + "a" * 70000 + "\r\n", "Transfer-Encoding: chunked\r\n", "Bad header\r\n", "A:\x00\r\n"]
    )
    head = (
        f"{method} {path} {version}\r\nHost: 127.0.0.1:{{port}}\r\nX-Onecolour-Token: {token}\r\n"
        f"Content-Type: application/json\r\n{extra}Content-Length: {length}\r\nConnection: close\r\n\r\n"
    )
    return head.encode("latin-1", "replace") + body


def test_500_malformed_requests_leave_it_answering(page, star):
    chance = random.Random(500)
    piece = star["id"]
    statuses: dict[str, int] = {}
    for _ in range(500):
        request = malformed(chance, piece).replace(b"{port}", str(page.port).encode(), 1)
        with socket.create_connection(("127.0.0.1", page.port), timeout=20) as wire:
            try:
                wire.sendall(request)
                wire.shutdown(socket.SHUT_WR)
                got = wire.recv(64)
            except OSError:
                got = b""
        status = got.split()[1].decode() if got.startswith(b"HTTP/1.1 ") else "closed"
        statuses[status] = statuses.get(status, 0) + 1
    assert "500" not in statuses, statuses
    assert statuses.get("400", 0) > 100, statuses
    answer = page.get(f"/api/pieces/{piece}")
    assert answer.status == 200 and answer.json["state"]["file"] == STAR
    assert page.get(f"/api/pieces/{piece}/take/chart-file").status == 200


def broken_picture(chance: random.Random, good: list[bytes]) -> bytes:
    data = bytearray(chance.choice(good))
    kind = chance.randrange(6)
    if kind == 0:
        return bytes(data[: chance.randrange(len(data))])
    if kind == 1:
        for _ in range(chance.randrange(1, 40)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        return bytes(data)
    if kind == 2:
        return bytes(data[:64]) + bytes(chance.randrange(256) for _ in range(300))
    if kind == 3:
        return png(chance.choice([0, 1, 2**31 - 1, 30000]), chance.choice([0, 1, 2**31 - 1, 30000]))
    if kind == 4:
        return tiff(chance.choice([0, 1, 60000, 2**32 - 1]), chance.choice([0, 7, 60000]))
    return bytes(chance.randrange(256) for _ in range(chance.randrange(400)))


def test_200_broken_pictures_leave_it_answering(page, fixtures, small_pictures):
    chance = random.Random(200)
    statuses: dict[int, int] = {}
    for number in range(200):
        data = broken_picture(chance, small_pictures)
        answer = page.ask("POST", "/api/pieces", data, {"X-File-Name": f"broken {number}.png"})
        statuses[answer.status] = statuses.get(answer.status, 0) + 1
        if answer.status not in (201, 415, 422):
            raise AssertionError((answer.status, answer.body, data[:80]))
        if answer.status != 201:
            assert answer.json["message"]
    assert statuses.get(415, 0) > 100, statuses
    assert page.drop(fixtures / "charts" / STAR).status == 201


@pytest.fixture(scope="module")
def small_pictures(fixtures):
    from helpers.odd_pictures import colour, drawing, save

    kinds = [save(drawing(), "PNG"), save(colour(), "JPEG"), save(colour(), "WEBP"), save(drawing(), "BMP"),
             save(drawing(), "GIF"), save(drawing(), "TIFF")]  # fmt: skip
    return [*kinds, (fixtures / "charts" / STAR).read_bytes()]


@pytest.mark.parametrize("body", [b'{"change": {"options": {"wide": "\\ud800"}}}', b'{"change": {"name": "\\ud800"}}'])
def test_half_characters_in_a_request_get_an_answer_in_words(page, star, body):
    answer = page.ask("POST", f"/api/pieces/{star['id']}/preview", body)
    assert 400 <= answer.status < 500
    assert answer.json["message"]


def test_a_number_without_end_in_a_request_gets_an_answer_in_words(page, star):
    answer = page.ask("POST", f"/api/pieces/{star['id']}/preview", b'{"change": {"options": {"wide": 1e999}}}')
    assert answer.status == 400
    assert answer.json["message"]


def test_a_whole_number_may_come_as_a_float(page, fixtures):
    piece = page.drop(fixtures / "pictures" / "key.png").json
    answer = page.post(f"/api/pieces/{piece['id']}/preview", {"change": {"options": {"wide": 30.0}}})
    assert answer.status == 200
