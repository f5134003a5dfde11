"""A studio on a fresh folder, and a served page to talk to over a real socket."""

from __future__ import annotations

import contextlib
import http.client
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

pytest.importorskip("starlette", reason="the parts that serve the page are not installed")
import uvicorn

from converter.jobs.workspace import Workspace
from converter.page.run import _listen
from converter.page.server import make_app
from converter.page.studio import Studio
from tests.page.hands import Hands

TOKEN = "token-of-the-tests"


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass
class Page:
    """A served page."""

    port: int
    workspace: Workspace

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    def ask(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
        token: bool = True,
    ) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        with contextlib.closing(connection):
            sent = {"X-Onecolour-Token": TOKEN} if token else {}
            connection.request(method, path, body, {**sent, **(headers or {})})
            answer = connection.getresponse()
            return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())

    def get(self, path: str, **more: Any) -> Answer:
        return self.ask("GET", path, **more)

    def post(self, path: str, value: Any = None, **more: Any) -> Answer:
        return self.ask("POST", path, json.dumps({} if value is None else value).encode(), **more)

    def drop(self, path: Path, name: str | None = None) -> Answer:
        return self.ask("POST", "/api/pieces", path.read_bytes(), {"X-File-Name": name or path.name})


@contextlib.contextmanager
def serve(folder: Path) -> Iterator[Page]:
    workspace = Workspace(folder)
    listener = _listen(0)
    port = listener.getsockname()[1]
    config = uvicorn.Config(
        make_app(Studio(workspace), port, TOKEN), log_level="critical", lifespan="off", ws="none", access_log=False
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield Page(port, workspace)
    finally:
        server.should_exit = True
        thread.join(20)
        listener.close()
        workspace.close()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with serve(tmp_path_factory.mktemp("page") / "pieces") as served:
        yield served


@pytest.fixture(scope="session")
def fixtures() -> Path:
    return Path(__file__).resolve().parents[2] / "fixtures"


@pytest.fixture
def studio(tmp_path: Path) -> Iterator[Studio]:
    workspace = Workspace(tmp_path / "pieces")
    yield Studio(workspace)
    workspace.close()


@pytest.fixture
def key(studio, small_key):
    return Hands(studio, small_key, options={"wide": 24}, settings={"lines": "none"})


@pytest.fixture(scope="session")
def small_key(fixtures, tmp_path_factory):
    """The key at a size that is charted in no time."""
    path = tmp_path_factory.mktemp("small") / "key.png"
    with Image.open(fixtures / "pictures" / "key.png") as image:
        image.resize((image.width // 4, image.height // 4), Image.Resampling.BOX).save(path)
    return path


@pytest.fixture
def star(studio, fixtures):
    return Hands(studio, fixtures / "charts" / "star.chart.json")
