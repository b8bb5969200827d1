"""A desk with a folder of its own, asked without a browser."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from creepfit.desk.app import create_app
from creepfit.desk.desk import Desk
from creepfit.desk.guard import Keys

HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "demo"
ADDRESS = "http://127.0.0.1:5000"


class Browser:
    """One browser at the desk."""

    def __init__(self, client: FlaskClient, keys: Keys) -> None:
        self.client = client
        assert client.get(f"/enter?token={keys.token}", base_url=ADDRESS).status_code == 302
        self.token = re.search(r'data-token="(\w+)"', self.get("/").text)[1]  # type: ignore[index]

    def get(self, address: str, **options: Any) -> Any:
        return self.client.get(address, base_url=ADDRESS, buffered=True, **options)

    def post(self, address: str, **form: Any) -> Any:
        return self.client.post(address, base_url=ADDRESS, data={"form_token": self.token, **form})

    def hidden(self, page: str, name: str) -> str:
        """What a form of a page carries along."""
        found = re.search(rf'name="{name}" value="([^"]*)"', page)
        assert found is not None
        return found[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    root = tmp_path / "bench"
    root.mkdir()
    for file in (HERE / "small.toml", HERE / "small.csv", DEMO / "bracket.toml"):
        os.utime(shutil.copy(file, root), (1.7e9, 1.7e9))  # of what was changed just now the desk waits for more
    return root


@pytest.fixture
def keys() -> Keys:
    return Keys()


@pytest.fixture
def app(folder: Path, keys: Keys) -> Iterator[Any]:
    found = create_app(folder, keys, 5000)
    yield found
    own: Desk = found.extensions["creepfit"]
    own.worker.close()


@pytest.fixture
def browser(app: Any, keys: Keys) -> Browser:
    return Browser(app.test_client(), keys)


@pytest.fixture
def other(app: Any, keys: Keys) -> Browser:
    return Browser(app.test_client(), keys)
