"""The page as a person starts it: a process of its own in a folder, spoken to over real sockets."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

TINY = """format = 1   # two positions are enough to walk the whole job
title = "Lamp test panel"
unit = "mm"

[panel]
thickness = [2.04, 2.04, 2.07]

[hole.window]
shape = "rectangle"
width = [12.02, 12.00, 12.01]     # along x
depth = [7.01, 7.02, 7.00]
offset_limit = 0.2

[seat.plunger]
shape = "rectangle"
width = [3.29, 3.30, 3.28]
depth = [3.28, 3.29, 3.29]
length = 4.2
travel = [1.62, 1.58]

[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
proud = 2.5  # wanted

[[position]]
label = "A1"
at = [0.0, 0.0]
part = "key"
drop = [4.73, 4.71, 4.71]

[[position]]
label = "A2"   # by the hinge
at = [19.0, 0.0]
part = "key"
drop = [5.02]
"""


OF_ALL = ("/?", "/static", "/code", "/panels", "/new", "/demo", "/p/", "/.")
"""Paths that are about no one panel."""


class Served:
    """One running page."""

    def __init__(self, folder: Path, profile: str = "panel.toml", *options: str) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        command = [sys.executable, "-m", "partgen", "bench", profile, "--port", str(port), "--quiet", *options]
        self.process = subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        assert self.address, self.process.stderr.read() if self.process.stderr else ""
        parts = urlsplit(self.address)
        self.host, self.port = parts.netloc, int(parts.netloc.split(":")[1])
        self.base = f"http://{self.host}"
        self.home = f"{self.base}/p/{Path(profile).stem}"
        """Where the panel's sections lie."""
        status, headers, _ = self.ask("GET", f"/?{parts.query}", cookie=False)
        assert status == 303
        self.cookie = headers["set-cookie"].split(";")[0]

    def ask(
        self, method: str, path: str, body: bytes | None = None, *, cookie: bool = True, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """One request. A path lies under the panel's own but for those in `OF_ALL`.

        With any header replaced or (as "") left out: `Host` and `Origin` are right by default."""
        if path != "/" and not path.startswith(OF_ALL):
            path = f"{urlsplit(self.home).path}{path}"
        sent = {"Host": self.host, "Origin": self.base if method == "POST" else "", **headers}
        if cookie:
            sent.setdefault("Cookie", self.cookie)
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                if value:
                    line.putheader(name, value)
            if body is not None and "Content-Length" not in sent and "Transfer-Encoding" not in sent:
                line.putheader("Content-Length", str(len(body)))
            line.endheaders()
            if body is not None:
                with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # refused before all was sent
                    line.send(body)
            answer = line.getresponse()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            line.close()

    def do(self, page: str, what: str, path: str = "/do", **more: Any) -> dict[str, Any]:
        """One action, as the page's script sends it."""
        body = json.dumps({"tab": "testtab0", "page": page, "do": what, **more}).encode()
        return json.loads(self.ask("POST", path, body)[2])

    def kill(self) -> None:
        """As a failing battery would: no chance to tidy up."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()


@contextlib.contextmanager
def served(folder: Path, profile: str = "panel.toml", *options: str) -> Iterator[Served]:
    """A page that is stopped at the end."""
    page = Served(folder, profile, *options)
    try:
        yield page
    finally:
        page.stop()


def until(true: Any, seconds: float = 120.0) -> None:
    """Wait until something holds."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)
