"""The server: one process on this machine, stopped by Ctrl-C or by the button."""

from __future__ import annotations

import os
import secrets
import socket
import threading
import webbrowser
from typing import TYPE_CHECKING

import uvicorn

from optimizer.errors import InputError
from optimizer.files import is_folder
from optimizer.window.doors import Doors
from optimizer.window.folder import Folder
from optimizer.window.site import Site

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from starlette.types import ASGIApp

__all__ = ["application", "serve"]

_HERE = "127.0.0.1"


def application(folder: Folder, token: str, port: int,
                stop: Callable[[], None] = lambda: None) -> tuple[ASGIApp, Site]:
    """Give the whole site for a folder, behind its doors; `stop` ends the server."""
    site = Site(folder, stop)
    hosts = (f"{_HERE}:{port}", f"localhost:{port}")
    return Doors(site.application(), token, hosts, f"kitpace-{port}"), site


def serve(root: Path, port: int, *, browser: bool, say: Callable[[str], None]) -> None:
    """Serve a folder until it is stopped; `say` is told the address once it answers.

    Port 0 takes one that is free. Raises InputError where the folder is none or the port is taken.
    """
    if not is_folder(root):
        raise InputError(str(root), "", "is not a folder", "name a folder, or make it first")
    listener = _listener(port)
    port = int(listener.getsockname()[1])
    token = secrets.token_urlsafe(32)
    server: uvicorn.Server | None = None

    def stop() -> None:
        if server is not None:
            server.should_exit = True

    app, site = application(Folder(root.resolve()), token, port, stop)
    server = uvicorn.Server(uvicorn.Config(
        app, log_level="critical", access_log=False, lifespan="off", ws="none", loop="asyncio",
        timeout_graceful_shutdown=2, server_header=False, limit_concurrency=100))
    address = f"http://{_HERE}:{port}/?token={token}"
    say(address)
    if browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    threading.Thread(target=_warm, daemon=True).start()
    try:
        server.run(sockets=[listener])
    finally:
        site.close()


def _listener(port: int) -> socket.socket:
    """Listen already: a browser that is faster than the server waits in line."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # the port of an earlier start is free at once
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((_HERE, port))
        listener.listen(64)
    except OSError as error:
        listener.close()
        raise InputError("--port", "", f"{port} cannot be used: {error.strerror}",
                         "take another one, or leave it out") from error
    return listener


def _warm() -> None:
    """Import, while a person looks at the first page, what the next ones need."""
    import optimizer.report.course_page
    import optimizer.report.rider_page
    import optimizer.scenario.scenario
    import optimizer.window.tasks
    import optimizer.window.views  # noqa: F401
