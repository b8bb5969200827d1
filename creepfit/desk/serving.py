"""The desk's server: threads on one port, an address with a token that is printed, a browser that is opened."""

from __future__ import annotations

import logging
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Flask
from werkzeug.serving import BaseWSGIServer, make_server

from creepfit.desk.app import create_app
from creepfit.desk.guard import ENTRY, Keys, is_loopback
from creepfit.errors import InputError

HOST = "127.0.0.1"


def warning_of(host: str, folder: Path) -> str | None:
    """Return what it means to listen elsewhere than on this machine alone; None where it does not."""
    if is_loopback(host):
        return None
    return (
        f"with --host {host} every machine that reaches this one can ask for the desk: whoever has the address with its "
        f"token can read and change the runs in {folder}, and the connection is not encrypted"
    )


class Server:
    """A desk that listens."""

    def __init__(self, folder: Path, port: int, host: str = HOST, said: Callable[[str], None] = print) -> None:
        """Listen on a port, 0 for a free one; `said` is told the address, and a further one after each use.

        Raises
        ------
        InputError
            A folder that is none, or a place where nobody can listen.
        """
        if not folder.is_dir():
            problem = "there is no such folder" if not folder.exists() else "this is no folder"
            raise InputError(problem, file=str(folder), expected="the folder where runs are kept")
        self.keys, self.host, self._said = Keys(), host, said
        self._app: Flask | None = None
        logging.getLogger("werkzeug").setLevel(logging.ERROR)
        try:
            self._server: BaseWSGIServer = make_server(host, port, self._answer, threaded=True)
        except (OSError, OverflowError, SystemExit) as error:
            reason = getattr(error, "strerror", None) or "it is taken, or not this machine's"
            raise InputError(f"cannot listen there ({reason})", key="--port", found=f"{host}:{port}") from None
        self._server.daemon_threads = True  # type: ignore[attr-defined]
        self.port = int(self._server.server_port)
        self._app = create_app(folder, self.keys, self.port, host, self._next)

    def _answer(self, environ: dict[str, Any], start: Any) -> Any:
        assert self._app is not None
        return self._app(environ, start)

    @property
    def address(self) -> str:
        """The address that opens the desk for one browser."""
        shown = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{shown}:{self.port}{ENTRY}?token={self.keys.token}"

    def _next(self) -> None:
        self._said(f"for a further browser: {self.address}")

    def run(self, browser: bool) -> None:
        """Answer until stopped."""
        self._said(self.address)
        threading.Thread(target=_warm_up, daemon=True).start()
        if browser:
            threading.Thread(target=webbrowser.open, args=(self.address,), daemon=True).start()
        try:
            self._server.serve_forever(poll_interval=0.2)
        finally:
            self._server.server_close()

    def stop(self) -> None:
        """Stop answering."""
        self._server.shutdown()


def _warm_up() -> None:
    """Load what the first answer needs before it is asked for."""
    import creepfit.report.figures.drawings
    import creepfit.report.page.html  # noqa: F401
