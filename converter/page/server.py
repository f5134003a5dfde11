"""The page's server: routes and answers. All work is done by `studio`; who may ask is settled by `guard`."""

from __future__ import annotations

import logging
import mimetypes
import secrets
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, unquote

import anyio.to_thread
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from converter.errors import ConverterError, ExitCode, UsageError
from converter.files.chart_file import parse_json
from converter.jobs.history import StaleRevision
from converter.page.guard import Guard, TooLarge
from converter.page.studio import Studio, Taken
from converter.page.words import plain

mimetypes.add_type("text/javascript", ".js")

STATIC: Final = Path(__file__).parent / "static"
STATUS: Final = {
    ExitCode.OWN_FAULT: 500,
    ExitCode.WRONG_USE: 400,
    ExitCode.PICTURE: 415,
    ExitCode.REQUEST: 422,
    ExitCode.OUTPUT: 507,
}
_MAX_NESTING: Final = 12
Handler = Callable[[Request], Awaitable[Response]]

log = logging.getLogger(__name__)


def make_app(studio: Studio, port: int, token: str | None = None) -> Guard:
    """Return the ASGI application.

    Parameters
    ----------
    studio : Studio
    port : int
        The port it will be served on; other Host headers are refused.
    token : str, optional
        Needed for writing; made anew if not given.
    """
    token = token or secrets.token_urlsafe(32)
    api = _Routes(studio, token)
    app = Starlette(
        routes=[
            Route("/", api.index),
            Route("/api/session", api.session),
            Route("/api/pieces", api.pieces, methods=["GET"]),
            Route("/api/pieces", api.create, methods=["POST"]),
            Route("/api/pieces/{piece}", api.piece, methods=["GET"]),
            Route("/api/pieces/{piece}/facts", api.reader("facts")),
            Route("/api/pieces/{piece}/rows", api.reader("rows")),
            Route("/api/pieces/{piece}/squares", api.reader("squares")),
            Route("/api/pieces/{piece}/steps", api.writer("step"), methods=["POST"]),
            Route("/api/pieces/{piece}/undo", api.writer("undo"), methods=["POST"]),
            Route("/api/pieces/{piece}/redo", api.writer("redo"), methods=["POST"]),
            Route("/api/pieces/{piece}/preview", api.writer("preview"), methods=["POST"]),
            Route("/api/pieces/{piece}/fit", api.writer("fit"), methods=["POST"]),
            Route("/api/pieces/{piece}/sizes", api.writer("sizes"), methods=["POST"]),
            Route("/api/pieces/{piece}/borders", api.writer("borders"), methods=["POST"]),
            Route("/api/pieces/{piece}/copy", api.writer("copy"), methods=["POST"]),
            Route("/api/pieces/{piece}/throw-away", api.writer("throw_away"), methods=["POST"]),
            Route("/api/pieces/{piece}/bring-back", api.writer("bring_back"), methods=["POST"]),
            Route("/api/pieces/{piece}/picture.jpg", api.picture),
            Route("/api/pieces/{piece}/take/{kind}", api.take),
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        exception_handlers={
            ConverterError: _refusal,  # type: ignore[dict-item]
            HTTPException: _http_refusal,  # type: ignore[dict-item]
            Exception: _fault,
        },
    )
    return Guard(app, port, token)


class _Routes:
    """One method a route."""

    def __init__(self, studio: Studio, token: str) -> None:
        self.studio = studio
        self.token = token

    async def index(self, request: Request) -> Response:
        return Response((STATIC / "index.html").read_bytes(), media_type="text/html")

    async def session(self, request: Request) -> Response:
        return JSONResponse({"token": self.token, **self.studio.session()})

    async def pieces(self, request: Request) -> Response:
        pieces, thrown = await _run(self.studio.pieces), await _run(self.studio.thrown_away)
        return JSONResponse({"pieces": pieces, "thrown": thrown})

    async def create(self, request: Request) -> Response:
        name = unquote(request.headers.get("x-file-name", ""), errors="replace")
        data = await request.body()
        return JSONResponse(await _run(self.studio.create, data, name), status_code=201)

    async def piece(self, request: Request) -> Response:
        return JSONResponse(await _run(self.studio.piece, request.path_params["piece"]))

    def reader(self, method: str) -> Handler:
        async def handle(request: Request) -> Response:
            return JSONResponse(await _run(getattr(self.studio, method), request.path_params["piece"]))

        return handle

    def writer(self, method: str) -> Handler:
        async def handle(request: Request) -> Response:
            body = await _json_body(request)
            return JSONResponse(await _run(getattr(self.studio, method), request.path_params["piece"], body))

        return handle

    async def picture(self, request: Request) -> Response:
        data = await _run(self.studio.preview_picture, request.path_params["piece"])
        return Response(data, media_type="image/jpeg")

    async def take(self, request: Request) -> Response:
        taken: Taken = await _run(self.studio.take, request.path_params["piece"], request.path_params["kind"])
        disposition = f"attachment; filename*=UTF-8''{quote(taken.file_name, safe='')}"
        return Response(taken.data, media_type=taken.media_type, headers={"Content-Disposition": disposition})


async def _run(function: Callable[..., Any], *values: Any) -> Any:
    return await anyio.to_thread.run_sync(lambda: function(*values))


async def _json_body(request: Request) -> dict[str, Any]:
    data = await request.body()
    try:
        body = parse_json(data.decode("utf-8"))
    except (ValueError, RecursionError):
        raise UsageError("The request is not JSON.") from None
    if not isinstance(body, dict) or _depth(body) > _MAX_NESTING:
        raise UsageError("The request must be a mapping.")
    return body


def _depth(value: Any, limit: int = _MAX_NESTING + 1) -> int:
    if limit <= 0 or not isinstance(value, (dict, list)):
        return 0
    parts = value.values() if isinstance(value, dict) else value
    return 1 + max((_depth(part, limit - 1) for part in parts if isinstance(part, (dict, list))), default=0)


def _sayable(text: str) -> str:
    """Return a message in the page's words, with half characters that came in a request made harmless."""
    return plain(text).encode("utf-8", "replace").decode("utf-8")


async def _refusal(request: Request, error: ConverterError) -> Response:
    if isinstance(error, StaleRevision):
        return JSONResponse({"error": "stale", "message": error.message, "hint": error.hint}, status_code=409)
    status = STATUS[error.exit_code]
    return JSONResponse(
        {"error": error.exit_code.name.lower(), "message": _sayable(error.message), "hint": _sayable(error.hint)},
        status_code=status,
    )


async def _http_refusal(request: Request, error: HTTPException) -> Response:
    return JSONResponse(
        {"error": "address", "message": "There is nothing at this address.", "hint": ""}, status_code=error.status_code
    )


async def _fault(request: Request, error: Exception) -> Response:
    if isinstance(error, TooLarge):
        raise error
    log.error("fault at %s", request.url.path, exc_info=error)
    return JSONResponse(
        {
            "error": "fault",
            "message": "This is a fault of the program, not yours.",
            "hint": "What was saved is kept; try again or reload the page.",
        },
        status_code=500,
    )
