"""Who may see the desk: one key for each browser, requests from its own pages only, and nothing loaded from elsewhere."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import socket
import threading

from flask import Flask, Request, Response, abort, g, redirect, request
from werkzeug.wrappers import Response as AnyResponse

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # not "no-referrer": browsers then send "Origin: null" with the desk's own forms
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
ENTRY = "/enter"
LONGEST_BODY = 30_000_000
"""Bytes of what is sent: a workbook dropped on a page."""


class Keys:
    """The token of the address that is printed, good for one browser, and the visits that came of such tokens."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._token = secrets.token_urlsafe(24)
        self._visits: set[str] = set()

    @property
    def token(self) -> str:
        """The token that opens the desk for one more browser."""
        return self._token

    def open(self, token: str) -> str | None:
        """Return a mark of the visit for a token, which is then used up; None where it is not the one that is good now."""
        with self._lock:
            if not hmac.compare_digest(token.encode(), self._token.encode()):
                return None
            self._token = secrets.token_urlsafe(24)
            visit = secrets.token_urlsafe(24)
            self._visits.add(visit)
            return visit

    def known(self, visit: str) -> bool:
        """Whether a visit was opened here."""
        return any(hmac.compare_digest(visit.encode(), own.encode()) for own in self._visits)


def form_token(visit: str) -> str:
    """Return what the forms of one browser carry."""
    return hashlib.sha256(b"form " + visit.encode()).hexdigest()


def guard(app: Flask, keys: Keys, port: int, host: str, opened: object = None) -> None:
    """Put the checks before every request, and the headers on every answer.

    Parameters
    ----------
    app : Flask
    keys : Keys
    port, host
        Where the desk listens.
    opened : callable, optional
        Called after a browser was let in, when the address for a further one is another.
    """
    cookie = f"creepfit-desk-{port}"  # cookies of all ports of a host are in one jar

    @app.before_request
    def check() -> AnyResponse | None:
        if not _is_own_host(request, port, host):
            abort(400, "This is not the address the desk was opened at.")
        if request.path == ENTRY:
            return _entered(keys, cookie, opened)
        visit = request.cookies.get(cookie, "")
        if not visit or not keys.known(visit):
            abort(403, "Open the desk by the address that it prints when it starts.")
        g.form_token = form_token(visit)
        if request.method not in ("GET", "HEAD"):
            _check_own_form(request)
        return None

    @app.after_request
    def add_headers(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers[name] = value
        if not request.path.startswith("/static/"):
            response.headers["Cache-Control"] = "no-store"
        return response


def _entered(keys: Keys, cookie: str, opened: object) -> AnyResponse:
    visit = keys.open(request.args.get("token", ""))
    if visit is None:
        if keys.known(request.cookies.get(cookie, "")):  # the address opened a second time in the same browser
            return redirect("/")
        abort(403, "This address was used already, or is none of this desk. It prints a new one after each use.")
    if callable(opened):
        opened()
    response = redirect("/")
    response.set_cookie(cookie, visit, httponly=True, samesite="Strict", path="/")
    return response


def _is_own_host(asked: Request, port: int, host: str) -> bool:
    """Whether the Host header is one of the desk: another name that leads here may be somebody else's page."""
    name, _, own_port = asked.host.rpartition(":") if ":" in asked.host else (asked.host, "", "80")
    if own_port != str(port):
        return False
    name = name.strip("[]").casefold()
    known = {"127.0.0.1", "localhost", "::1"} if is_loopback(host) else {host.casefold(), socket.gethostname().casefold()}
    if name in known:
        return True
    return not is_loopback(host) and _is_address(name)  # a bare address cannot be pointed elsewhere by anyone


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches a host's address."""
    if host.casefold() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _check_own_form(asked: Request) -> None:
    """Refuse what another site's page sends, and a form that is of another browser's visit."""
    site = asked.headers.get("Sec-Fetch-Site")
    origin = asked.headers.get("Origin")
    if site not in (None, "same-origin") or origin not in (None, f"http://{asked.host}"):
        abort(403, "This was sent from a page of another site.")
    if (asked.content_length or 0) > LONGEST_BODY:
        abort(413, "This is more than the desk takes at once (30 MB).")
    given = asked.headers.get("X-Form-Token") or asked.form.get("form_token", "")
    if not hmac.compare_digest(given.encode(), str(g.form_token).encode()):
        abort(403, "This form is of another visit to the desk: load the page again.")
