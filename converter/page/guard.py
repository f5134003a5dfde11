"""Who may talk to the page: this machine's own browser, on this page's own address, and nobody else.

- The Host header must name the loopback address the page was opened on, so that a foreign name that is made to
  point here (rebinding) gets nothing.
- A request that another site causes carries its Origin or ``Sec-Fetch-Site``; both must say that it is ours.
- Whatever changes something needs the token of this run, which only our own page can read.
- Bodies are counted while they come in, and cut off at the limit.
- The answer forbids the browser to fetch anything from anywhere else.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any, Final

Message = MutableMapping[str, Any]
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

TOKEN_HEADER: Final = b"x-onecolour-token"
LOOPBACK_NAMES: Final = ("127.0.0.1", "localhost", "[::1]")
MAX_PICTURE_BYTES: Final = 200 * 1024 * 1024
MAX_CHANGE_BYTES: Final = 16 * 1024 * 1024
READING: Final = ("GET", "HEAD")

SECURITY_HEADERS: Final[tuple[tuple[bytes, bytes], ...]] = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        b"manifest-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
)


class TooLarge(Exception):
    """The body is over the limit."""


class Guard:
    """ASGI middleware that lets only the page's own requests through.

    Parameters
    ----------
    app : ASGI application
    port : int
        The port the page is served on; part of the Host and Origin that are accepted.
    token : str
        Needed in the header ``X-Onecolour-Token`` of every request that is not GET or HEAD.
    """

    def __init__(self, app: App, port: int, token: str) -> None:
        self.app = app
        self.token = token.encode("ascii")
        self.hosts = {f"{name}:{port}".encode("ascii") for name in LOOPBACK_NAMES}
        if port == 80:
            self.hosts |= {name.encode("ascii") for name in LOOPBACK_NAMES}
        self.origins = {b"http://" + host for host in self.hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check a request, then pass it on."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self._refuse(scope)
        if refusal is not None:
            await _answer(send, *refusal)
            return
        limit = MAX_PICTURE_BYTES if scope["path"] == "/api/pieces" else MAX_CHANGE_BYTES
        started = False
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if received > limit:
                raise TooLarge
            return message

        async def sent(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = list(message.get("headers", []))
                present = {name.lower() for name, _ in headers}
                headers += [pair for pair in SECURITY_HEADERS if pair[0] not in present]
                if b"cache-control" not in present:
                    headers.append((b"cache-control", b"no-store"))
                message["headers"] = headers
            await send(message)

        try:
            await self.app(scope, counted, sent)
        except TooLarge:
            if not started:
                await _answer(send, 413, "large", f"That is over {limit // (1024 * 1024)} MB.", "Use a smaller file.")

    def _refuse(self, scope: Scope) -> tuple[int, str, str, str] | None:
        headers: list[tuple[bytes, bytes]] = scope["headers"]

        def only(name: bytes) -> bytes | None:
            values = [value for key, value in headers if key.lower() == name]
            return values[0] if len(values) == 1 else (b"" if values else None)

        host = only(b"host")
        if host is None or host.lower() not in self.hosts:
            return 421, "host", "This page answers on this computer only.", "Open the address the program printed."
        site = only(b"sec-fetch-site")
        if site is not None and site not in (b"same-origin", b"none"):
            navigation = only(b"sec-fetch-mode") == b"navigate" and scope["path"] == "/"
            if not (navigation and scope["method"] in READING):
                return 403, "origin", "Another site asked for this; it was refused.", ""
        origin = only(b"origin")
        if origin is not None and origin.lower() not in self.origins:
            return 403, "origin", "Another site asked for this; it was refused.", ""
        if scope["method"] not in READING:
            token = only(TOKEN_HEADER) or b""
            if not secrets.compare_digest(token, self.token):
                return 403, "token", "The program was started again since this page was opened.", "Reload the page."
            length = only(b"content-length")
            if length is not None and not (length.isdigit() and len(length) < 19):
                return 400, "length", "The request is malformed.", ""
            limit = MAX_PICTURE_BYTES if scope["path"] == "/api/pieces" else MAX_CHANGE_BYTES
            if length is not None and int(length) > limit:
                return 413, "large", f"That is over {limit // (1024 * 1024)} MB.", "Use a smaller file."
        return None


async def _answer(send: Send, status: int, code: str, message: str, hint: str) -> None:
    body = json.dumps({"error": code, "message": message, "hint": hint}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *SECURITY_HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
