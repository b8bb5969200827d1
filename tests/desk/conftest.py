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
from jinja2.bccache import Bucket, BytecodeCache

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


class Compiled(BytecodeCache):
    """Templates as they were compiled for the desk of another test: for each anew that took a quarter of these tests."""

    def __init__(self) -> None:
        self.kept: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key in self.kept:
            bucket.bytecode_from_string(self.kept[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.kept[bucket.key] = bucket.bytecode_to_string()


COMPILED = Compiled()


@pytest.fixture
def app(folder: Path, keys: Keys) -> Iterator[Any]:
    found = create_app(folder, keys, 5000)
    found.jinja_env.bytecode_cache = COMPILED
    yield found
    own: Desk = found.extensions["creepfit"]
    own.worker.close()


@pytest.fixture
def browser(app: Any, keys: Keys) -> Browser:
    return Browser(app.test_client(), keys)


@pytest.fixture
def other(app: Any, keys: Keys) -> Browser:
    return Browser(app.test_client(), keys)
