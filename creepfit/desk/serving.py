"""The desk's server: threads on one port, an address with a token that is printed, a browser that is opened."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

from werkzeug.serving import BaseWSGIServer, make_server

from creepfit.desk.app import create_app
from creepfit.desk.desk import Desk
from creepfit.desk.guard import ENTRY, Keys, is_loopback
from creepfit.errors import CreepfitError, InputError

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

    def __init__(
        self, folder: Path, port: int, host: str = HOST, said: Callable[[str], None] = print, debug: bool = False
    ) -> None:
        """Listen on a port, 0 for a free one; `said` is told the address, and a further one after each use.

        Raises
        ------
        InputError
            A folder that is none, or a place where nobody can listen.
        """
        if not os.path.isdir(folder):
            problem = "this is no folder" if os.path.exists(folder) else "there is no such folder"
            raise InputError(problem, file=str(folder), expected="the folder where runs are kept")
        self.keys, self.host, self._said = Keys(), host, said
        logging.getLogger("werkzeug").setLevel(logging.ERROR)
        try:
            listening = socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
        except (OSError, OverflowError, UnicodeError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise InputError(f"cannot listen there ({reason})", key="--port", found=f"{host}:{port}") from None
        self.port = int(listening.getsockname()[1])
        self._app = app = create_app(folder, self.keys, self.port, host, self._next, debug)
        # a socket of our own: the server would print and leave where it cannot have one
        with listening:
            self._server: BaseWSGIServer = make_server(host, self.port, app, threaded=True, fd=listening.fileno())

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
        threading.Thread(target=self._warm_up, daemon=True).start()
        if browser:
            threading.Thread(target=webbrowser.open, args=(self.address,), daemon=True).start()
        try:
            self._server.serve_forever(poll_interval=0.2)
        finally:
            self._server.server_close()
            self._desk.worker.close()

    @property
    def _desk(self) -> Desk:
        desk: Desk = self._app.extensions["creepfit"]
        return desk

    def _warm_up(self) -> None:
        """Read the runs before they are asked for."""
        with contextlib.suppress(CreepfitError):  # said on the page
            self._desk.cards.all()

    def stop(self) -> None:
        """Stop answering."""
        self._server.shutdown()
