"""The server: its address opens it once, and what cannot be served is said in a line."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from click.testing import CliRunner

from creepfit.cli import desk as command
from creepfit.cli.commands import main
from creepfit.desk.serving import Server
from creepfit.errors import InputError


def test_the_address_that_is_printed_opens_the_desk_once(folder: Path) -> None:
    said: list[str] = []
    server = Server(folder, 0, said=said.append)
    running = threading.Thread(target=server.run, args=(False,))
    address = server.address
    running.start()
    try:
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        with opener.open(address, timeout=60) as page:
            assert "PP bar 1" in page.read().decode()
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(address, timeout=60)
        refused.value.close()
        assert refused.value.code == 403
        assert said == [address, f"for a further browser: {server.address}"]
    finally:
        server.stop()
        running.join(60)


def test_the_command_serves_in_a_process_of_its_own_and_says_where_at_once(folder: Path) -> None:
    command = [sys.executable, "-c", "from creepfit.cli import main; main()", "desk", str(folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
            with opener.open(process.stdout.readline().strip(), timeout=60) as page:
                assert "PP bar 1" in page.read().decode()
        finally:
            process.terminate()


def test_a_port_that_is_taken_is_said(folder: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(InputError, match="cannot listen there"):
        Server(folder, taken.getsockname()[1])
    with pytest.raises(InputError, match="cannot listen there"):
        Server(folder, 0, "no.such.host.invalid")


def test_a_folder_that_is_none_is_said(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["desk", str(tmp_path / "nowhere"), "--no-browser"])
    assert done.exit_code == 2
    assert "there is no such folder" in done.output


def test_without_flask_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "find_spec", lambda name: None)
    done = CliRunner().invoke(main, ["desk", str(tmp_path)])
    assert done.exit_code == 2
    assert "pip install 'creepfit[desk]'" in done.output
