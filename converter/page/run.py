"""Starting and stopping the page."""

from __future__ import annotations

import contextlib
import logging
import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final

from converter.errors import OutputError, UsageError

LOOPBACK: Final = "127.0.0.1"


def serve(folder: Path | None, port: int, *, open_browser: bool, say: Callable[[str], object]) -> None:
    """Serve the page until it is stopped.

    Parameters
    ----------
    folder : Path, optional
        Where pieces are kept.
    port : int
        0 takes any free one; one that is taken by another program is replaced by a free one.
    open_browser : bool
    say : callable
        Takes each line that she is to read.

    Raises
    ------
    UsageError
        If the parts that serve a page are not installed.
    OutputError, RequestError
        If the folder cannot be used.
    """
    try:
        import uvicorn

        from converter.page.server import make_app
    except ImportError:
        raise UsageError(
            "The parts that serve the page are not installed.", "Run: pip install 'onecolour[page]'."
        ) from None
    from converter.jobs.workspace import Workspace, default_folder
    from converter.page.studio import Studio

    workspace = Workspace(folder or default_folder())
    try:
        with contextlib.closing(_listen(port)) as listener:
            number = listener.getsockname()[1]
            address = f"http://{LOOPBACK}:{number}/"
            app = make_app(Studio(workspace), number)
            config = uvicorn.Config(
                app,
                log_level=logging.WARNING,
                access_log=False,
                server_header=False,
                date_header=False,
                lifespan="off",
                ws="none",
                proxy_headers=False,
                timeout_keep_alive=30,
                timeout_graceful_shutdown=3,
                h11_max_incomplete_event_size=64 * 1024,
            )
            server = uvicorn.Server(config)
            say(f"The page is at {address}")
            say(f"Your pieces are kept in {workspace.folder}")
            say("Stop it with Ctrl-C; everything is saved as you go.")
            if open_browser:
                threading.Thread(target=_open_when_ready, args=(server, address), daemon=True).start()
            with contextlib.suppress(KeyboardInterrupt):
                server.run(sockets=[listener])
    finally:
        workspace.close()


def _listen(port: int) -> socket.socket:
    """Return a socket on the loopback address, on the wanted port or any free one."""
    for wanted in dict.fromkeys((port, 0)):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # pragma: no cover
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, wanted))
            listener.listen(64)
        except OSError:
            listener.close()
            continue
        return listener
    raise OutputError("No address on this computer is free for the page.", "Close other programs and try again.")


def _open_when_ready(server: object, address: str) -> None:
    for _ in range(200):
        if getattr(server, "started", False):
            with contextlib.suppress(webbrowser.Error):
                webbrowser.open(address)
            return
        time.sleep(0.05)
