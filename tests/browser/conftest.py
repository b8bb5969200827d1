"""One browser for the desk and for the report's page: to start one takes as long as a dozen of their tests."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
FLAGS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --hide-scrollbars --force-prefers-reduced-motion --app=data:,"
)
"""Nothing turns while a page waits: without a graphics card to draw that keeps half a core from the answer. Nor are there
tabs and an address to be drawn anew for every page, which takes a third of loading it."""


@pytest.fixture(scope="session")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from selenium.webdriver import Chrome, ChromeOptions
    from selenium.webdriver.chrome.service import Service

    options = ChromeOptions()
    options.binary_location = CHROMIUM or ""
    for flag in [*FLAGS.split(), f"--user-data-dir={tmp_path_factory.mktemp('profile')}"]:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    found = Chrome(options=options, service=Service(DRIVER or ""))
    yield found
    found.quit()
