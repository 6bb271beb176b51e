"""Who may come in: this machine's own browser, with the address that was printed, and nobody else.

Every request has to name the right host, come from no other site, and carry the cookie that the
first address was exchanged for. What comes in is bounded; what goes out may load nothing foreign.
"""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, RedirectResponse

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LARGEST_UPLOAD", "POLICY", "SEALED", "Doors"]

LARGEST_UPLOAD = 64 * 2**20
"""Bytes of one request, files included."""

POLICY = ("default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
          "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
          "frame-ancestors 'none'")
"""Content policy of the window's own pages."""

SEALED = ("default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
          "img-src data:; worker-src blob:; base-uri 'none'; form-action 'none'; "
          "frame-ancestors 'self'; sandbox allow-scripts allow-downloads allow-modals")
"""Policy of reports, which are files that anybody may have put there: they are shown as if from
another site, without a way back to this one. Their own policy narrows it to their own scripts."""

_USUAL = {"content-security-policy": POLICY, "x-content-type-options": "nosniff",
          "referrer-policy": "same-origin", "cache-control": "no-store",
          "cross-origin-resource-policy": "same-origin",
          "cross-origin-opener-policy": "same-origin"}
_ELSEWHERE = "Requests from other pages are refused."
_READING = {"GET", "HEAD"}
_STRANGER = ("This page is for the browser that was opened by kitpace open. Use the address that "
             "it printed; after a new start that is a new one. Nothing was read or changed.")


class Doors:
    """Checks every request before it reaches the application.

    `token` is what the printed address carries; `hosts` are the names of this server, with port.
    """

    def __init__(self, app: ASGIApp, token: str, hosts: tuple[str, ...], cookie: str) -> None:
        self._app, self._token, self._hosts, self._cookie = app, token, hosts, cookie
        self._pass = secrets.token_urlsafe(32)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            return

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _USUAL.items():
                    headers.setdefault(name, value)
            await send(message)

        headers = Headers(scope=scope)
        refused = self._refusal(scope, headers)
        if refused is not None:
            await refused(scope, receive, dressed)
            return
        taken = 0

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_UPLOAD:
                raise HTTPException(413)
            return message

        await self._app(scope, bounded, dressed)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Answer what may not come in as it is; None for what may."""
        return (_wrong_host(headers, self._hosts)
                or _wrong_origin(scope, headers, self._hosts)
                or _wrong_size(headers)
                or self._first(scope)
                or _from_elsewhere(headers)
                or self._stranger(headers))

    def _first(self, scope: Scope) -> Response | None:
        """Exchange the token of the first address for the cookie, and leave it behind."""
        if scope["path"] != "/" or scope["method"] not in _READING:
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if not (given and secrets.compare_digest(given.encode(), self._token.encode())):
            return None
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._cookie, self._pass, httponly=True, samesite="strict")
        return answer

    def _stranger(self, headers: Headers) -> Response | None:
        known = secrets.compare_digest(
            _cookie(headers, self._cookie).encode("latin-1", "replace"), self._pass.encode())
        return None if known else PlainTextResponse(_STRANGER, 403)


def _wrong_host(headers: Headers, hosts: tuple[str, ...]) -> Response | None:
    """Refuse another name for this server, which a foreign page may have made up for it."""
    if headers.get("host", "") in hosts:
        return None
    return PlainTextResponse("This server has another name.", 421)


def _wrong_origin(scope: Scope, headers: Headers, hosts: tuple[str, ...]) -> Response | None:
    """Refuse what a foreign page sends, and changes that do not say where they come from."""
    origin = headers.get("origin")
    if origin in {f"http://{host}" for host in hosts} or (
            origin is None and scope["method"] in _READING):
        return None
    return PlainTextResponse(_ELSEWHERE, 403)


def _from_elsewhere(headers: Headers) -> Response | None:
    if headers.get("sec-fetch-site", "none") in {"none", "same-origin"}:
        return None
    return PlainTextResponse(_ELSEWHERE, 403)


def _wrong_size(headers: Headers) -> Response | None:
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit()):
        return PlainTextResponse("The length of the request is not a number.", 400)
    return _too_large() if int(length) > LARGEST_UPLOAD else None


def _too_large() -> Response:
    return PlainTextResponse(
        f"This is more than {LARGEST_UPLOAD / 2**20:.0f} MB; nothing was kept.", 413)


def _cookie(headers: Headers, name: str) -> str:
    """Value of a cookie; empty where it was not sent."""
    for part in headers.get("cookie", "").split(";"):
        key, _, value = part.strip().partition("=")
        if key == name:
            return value
    return ""
