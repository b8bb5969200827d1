"""Who is let in, and what is never done for another site's page."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from creepfit.desk.folder import Folder
from creepfit.desk.guard import Keys, is_loopback
from creepfit.desk.serving import warning_of
from creepfit.errors import InputError

Browser = Any
"""The one of conftest.py."""

ADDRESS = "http://127.0.0.1:5000"


def test_without_the_token_nothing_is_shown(app: Any) -> None:
    client = app.test_client()
    for address in ("/", "/today?run=small.toml", "/file?name=small.toml", "/page/report.css", "/static/desk.css"):
        assert client.get(address, base_url=ADDRESS).status_code == 403, address
    assert client.get("/enter?token=guess", base_url=ADDRESS).status_code == 403
    assert client.post("/drop", base_url=ADDRESS).status_code == 403


def test_a_token_is_good_for_one_browser(app: Any, keys: Keys) -> None:
    token = keys.token
    first, second = app.test_client(), app.test_client()
    assert first.get(f"/enter?token={token}", base_url=ADDRESS).status_code == 302
    assert second.get(f"/enter?token={token}", base_url=ADDRESS).status_code == 403
    assert first.get(f"/enter?token={token}", base_url=ADDRESS).status_code == 302  # the same browser once more
    assert second.get(f"/enter?token={keys.token}", base_url=ADDRESS).status_code == 302
    cookie = first.get_cookie("creepfit-desk-5000", "127.0.0.1")
    assert (cookie.http_only, cookie.same_site) == (True, "Strict")


@pytest.mark.parametrize("host", ["evil.example:5000", "127.0.0.1:5001", "127.0.0.1", "192.168.0.7:5000", "[::2]:5000"])
def test_another_host_name_is_refused(browser: Browser, host: str) -> None:
    assert browser.client.get("/", base_url=ADDRESS, headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:5001"},
    ],
)
def test_a_form_of_another_site_is_refused(browser: Browser, folder: Path, headers: dict[str, str]) -> None:
    before = (folder / "small.csv").read_bytes()
    data = {"form_token": browser.token, "run": "small.toml", "rows": "2 d\t0.160 mm"}
    answer = browser.client.post("/today/rows", base_url=ADDRESS, data=data, headers=headers)
    assert answer.status_code == 403
    assert (folder / "small.csv").read_bytes() == before


def test_a_form_without_its_token_is_refused(browser: Browser, other: Browser) -> None:
    for token in ("", "0" * 64, other.token):
        data = {"form_token": token, "run": "small.toml", "rows": "2 d\t0.160 mm"}
        answer = browser.client.post("/today/rows", base_url=ADDRESS, data=data)
        assert answer.status_code == 403
        assert "of another visit to the desk" in answer.text


def test_every_answer_forbids_scripts_that_are_not_files_of_the_desk(browser: Browser) -> None:
    for address in ("/", "/today?run=small.toml", "/part", "/nothing", "/page/report.js"):
        answer = browser.get(address)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
    page = browser.get("/today?run=small.toml").text
    assert not re.search(r"<script(?![^>]*src=)(?![^>]*application/json)", page)
    assert not re.search(r"\son\w+=|\sstyle=", page)


OUTSIDE = [
    "../secret.toml",
    "/etc/passwd",
    "..\\x.toml",
    ".hidden.toml",
    "a/b.toml",
    "x\0.toml",
    "",
    "notes.exe",
    "~$b.xlsx",
]


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_leads_out_of_the_folder(browser: Browser, folder: Path, name: str) -> None:
    (folder.parent / "secret.toml").write_text("format = 1\n[run]\nmaterial = 'secret'\n", encoding="utf-8")
    with pytest.raises(InputError):
        Folder(folder).path(name)
    for screen in ("/file", "/download"):
        answer = browser.get(screen, query_string={"name": name})
        assert answer.status_code == 400
        assert "secret'" not in answer.text
    for screen in ("/today", "/answer", "/run-form"):
        assert browser.get(screen, query_string={"run": name}).status_code == 400


def test_links_and_readings_that_lead_out_are_refused(browser: Browser, folder: Path) -> None:
    (folder.parent / "secret.csv").write_text("time [h],reading [mm]\n0,1\n1,77.7\n", encoding="utf-8")
    (folder / "link.csv").symlink_to(folder.parent / "secret.csv")
    assert browser.get("/file?name=link.csv").status_code == 400
    text = (folder / "small.toml").read_text(encoding="utf-8").replace("small.csv", "../secret.csv")
    (folder / "out.toml").write_text(text, encoding="utf-8")
    assert "leads out of the folder" in browser.get("/").text
    answer = browser.get("/today?run=out.toml")
    assert answer.status_code == 400
    assert "77.7" not in answer.text


def test_names_are_shown_as_text(browser: Browser, folder: Path) -> None:
    hostile = '<img src=x onerror="alert(1)">'
    text = (folder / "small.toml").read_text(encoding="utf-8").replace('"bar 1"', f"'{hostile}'")
    (folder / "<b>x.toml").write_text(text, encoding="utf-8")
    page = browser.get("/").text
    assert "<img" not in page
    assert "<b>x" not in page
    assert "&lt;img src=x" in page


def test_what_listening_elsewhere_means_is_said() -> None:
    assert warning_of("127.0.0.1", Path("runs")) is None
    assert warning_of("::1", Path("runs")) is None
    assert "not encrypted" in (warning_of("0.0.0.0", Path("runs")) or "")
    assert not is_loopback("bench.example")
