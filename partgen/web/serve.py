"""Binds the page to this machine and runs it. Never prints."""

from __future__ import annotations

import contextlib
import io
import secrets
import socket
import tempfile
import threading
import webbrowser
from collections.abc import Iterator
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from partgen.core.errors import OutsideError

if TYPE_CHECKING:
    from partgen.web.access import Door
    from partgen.web.folder import Folder


def ready(
    path: Path,
    out: Path,
    *,
    port: int,
    network: bool = False,
    printer: str | None = None,
    seed: int = 0,
    repeats: int = 3,
) -> tuple[Folder, Door, socket.socket]:
    """Everything but the running: the port is taken, so that whoever is told the address can open it.

    Where the port is in use, the system chooses another. Raises OutsideError where nothing can be bound.
    """
    from partgen.web.access import Door
    from partgen.web.folder import Folder

    bound = _bind("0.0.0.0" if network else "127.0.0.1", port)
    code = f"{secrets.randbelow(10**8):08d}" if network else None
    return (
        Folder(path, out, printer=printer, seed=seed, repeats=repeats),
        Door(bound.getsockname()[1], code=code),
        bound,
    )


def _bind(host: str, port: int) -> socket.socket:
    for wanted in (port, 0):
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind((host, wanted))
            bound.listen(128)  # who opens the address at once waits rather than being turned away
        except OSError as error:
            bound.close()
            if wanted == 0:
                raise OutsideError(f"no page can be served on {host}: {error.strerror or error}") from error
        else:
            return bound
    raise AssertionError("unreachable")


def addresses(door: Door) -> list[str]:
    """What to open: on this machine, and on others where they may."""
    found = [f"http://127.0.0.1:{door.port}/?token={door.token}"]
    if door.code is not None:
        found.append(f"http://{_own_address()}:{door.port}/")
    return found


@contextlib.contextmanager
def in_browser(address: str) -> Iterator[None]:
    """Open an address in the person's browser, by a file that only they can read: an argument would show the token
    to everyone who may list this machine's processes."""
    with tempfile.TemporaryDirectory(prefix="partgen-") as folder:
        page = Path(folder) / "open.html"
        page.touch(0o600)
        with page.open("w", encoding="utf-8") as file:
            file.write(
                f'<!doctype html><meta http-equiv="refresh" content="0;url={escape(address)}"><title>partgen</title>'
            )
        threading.Thread(target=webbrowser.open, args=(page.as_uri(),), daemon=True).start()
        yield


def qr_code(address: str) -> str:
    """An address for a phone's camera, in characters of a terminal (ISO/IEC 18004)."""
    import segno

    out = io.StringIO()
    segno.make(address, micro=False).terminal(out, compact=True)
    return out.getvalue().rstrip()


def _own_address() -> str:
    """This machine's address on the local network, without asking anyone: no packet is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737, a documentation address: only the route is looked up
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()


def serve(folder: Folder, door: Door, bound: socket.socket) -> None:
    """Run until interrupted."""
    import uvicorn

    from partgen.web.page import page_app

    config = uvicorn.Config(
        page_app(folder, door),
        log_level="critical",
        access_log=False,
        ws="none",
        server_header=False,
        date_header=False,
        proxy_headers=False,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=32_000,
    )
    try:
        uvicorn.Server(config).run(sockets=[bound])
    finally:
        folder.close()
