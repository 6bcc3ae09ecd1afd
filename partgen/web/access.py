"""Who may come in: every request is held against host, origin, cookie and size before the page sees it.

An ASGI wrapper; the page behind it never meets a request it refused.
"""

from __future__ import annotations

import hmac
import secrets
import socket
import threading
import time
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from html import escape
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BYTES = 200_000
"""Of a request's body: far above any form here."""
PAUSE = 20.0
"""Seconds in which no code is taken after `TRIES` wrong ones."""
TRIES = 5
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'self'"
)
"""Nothing from anywhere else, and no script that is not a file of ours."""


@dataclass
class Door:
    """The secrets of one run. `code` lets a phone in over the local network; None keeps to this machine."""

    port: int
    code: str | None = None
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    ticket: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    """What the cookie holds once someone is in."""
    _wrong: int = 0
    _shut_until: float = 0.0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def cookie(self) -> str:
        """The cookie's name; browsers share cookies between the ports of one machine."""
        return f"partgen_bench_{self.port}"

    def try_code(self, given: str, now: float) -> str:
        """ "" when the code is right, else why not."""
        with self._lock:
            if now < self._shut_until:
                return f"Too many wrong codes. Try again in {self._shut_until - now:.0f} seconds."
            if self.code is not None and _same(given, self.code):
                self._wrong = 0
                return ""
            self._wrong += 1
            if self._wrong >= TRIES:
                self._wrong, self._shut_until = 0, now + PAUSE
            return "That is not the code."


class Guard:
    """Wraps the page. What is refused gets a status and one plain sentence, and changes nothing."""

    def __init__(self, app: App, door: Door, large: Mapping[str, int] | None = None) -> None:
        """`large`: ends of paths to which whoever is in may send more, and how many bytes; the page counts these."""
        self.app, self.door, self.large = app, door, large or {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # the page uses no web sockets, so none is let in
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        inside = _has_cookie(headers.get("cookie", ""), self.door)
        large = next((most for end, most in self.large.items() if scope["path"].endswith(end)), MOST_BYTES)
        most = large if inside and scope["method"] == "POST" else MOST_BYTES
        refused = self._refused(scope, headers, most)
        if refused is None and most != MOST_BYTES:
            await self.app(scope, receive, _with_headers(send))  # from the wire as it comes: nothing of it is kept here
            return
        # an answer sent over an unread body may be lost: the system resets the connection
        body = None if refused is not None and refused[0] == 413 else await _body(receive)
        if refused is not None or body is None:
            await _answer(send, *(refused or (413, too_large(MOST_BYTES))))
            return
        if not inside:
            await self._at_the_door(scope, headers, body, send)
            return
        if scope["path"] == "/code" or (scope["path"] == "/" and _token(scope)):
            await _answer(send, 303, "", [("Location", "/")])
            return
        await self.app(scope, _replay(body), _with_headers(send))

    def _refused(self, scope: Scope, headers: dict[str, str], most: int) -> tuple[int, str] | None:
        """Status and sentence of the first objection, or None."""
        host, origin, length = headers.get("host", ""), headers.get("origin"), headers.get("content-length", "0")
        raw = (scope.get("raw_path") or b"").lower()
        whole = length.isascii() and length.isdecimal()
        objections = (
            (
                host not in self._hosts(scope),
                421,
                "This page answers only under the address that partgen bench printed.",
            ),
            (origin not in (None, f"http://{host}"), 403, "This request came from another site; nothing was done."),
            (scope["method"] not in ("GET", "HEAD", "POST"), 405, "There is nothing here to do that with."),
            (
                scope["method"] == "POST" and origin is None,
                403,
                "This request does not say where it came from; nothing was done.",
            ),
            (not whole, 400, "The length of this request is no number."),
            (whole and (len(length) > 12 or int(length) > most), 413, too_large(most)),
            (any(one in raw for one in _ODD), 400, "That is no name of anything here."),
        )
        return next(((status, said) for wrong, status, said in objections if wrong), None)

    def _hosts(self, scope: Scope) -> set[str]:
        """Names under which the page may be asked for: a page elsewhere cannot borrow its own name for us."""
        names = {"127.0.0.1", "localhost"}
        if self.door.code is not None:
            name = socket.gethostname()
            names |= {name, f"{name}.local", (scope.get("server") or ("127.0.0.1",))[0]}
        return {f"{name}:{self.door.port}" for name in names}

    async def _at_the_door(self, scope: Scope, headers: dict[str, str], body: bytes, send: Send) -> None:
        token = _token(scope)
        if scope["path"] == "/" and token and _same(token, self.door.token):
            await self._let_in(send)
        elif self.door.code is None:
            await _answer(send, 403, _token_page(), [("Content-Type", "text/html; charset=utf-8")])
        elif scope["path"] == "/code" and scope["method"] == "POST":
            given = parse_qs(body.decode("utf-8", "replace")).get("code", [""])[0]
            wrong = self.door.try_code("".join(given.split()), time.monotonic())
            if wrong:
                await _answer(send, 403, _code_page(wrong), [("Content-Type", "text/html; charset=utf-8")])
            else:
                await self._let_in(send)
        elif scope["path"] == "/" or scope["path"] == "/code":
            await _answer(send, 200, _code_page(""), [("Content-Type", "text/html; charset=utf-8")])
        else:
            await _answer(send, 403, "Enter the code first.")

    async def _let_in(self, send: Send) -> None:
        cookie = f"{self.door.cookie}={self.door.ticket}; Path=/; HttpOnly; SameSite=Strict"
        await _answer(send, 303, "", [("Location", "/"), ("Set-Cookie", cookie)])


_ODD = (b"..", b"%2e", b"%5c", b"\\", b"%00")
"""Never in a path of ours: ways to say "the folder above", and the end of a name."""


def too_large(most: int) -> str:
    """What is said to a body of more than `most` bytes."""
    size = f"{most // 1000} kB" if most < 1_000_000 else f"{most // 1_000_000} MB"
    return f"That is larger than anything here takes ({size}); nothing was done."


def _same(a: str, b: str) -> bool:
    return hmac.compare_digest(a.encode(), b.encode())


def _token(scope: Scope) -> str:
    query: bytes = scope["query_string"]
    return parse_qs(query.decode("latin-1")).get("token", [""])[0]


def _has_cookie(header: str, door: Door) -> bool:
    pairs = (part.strip().partition("=") for part in header.split(";"))
    return any(name == door.cookie and _same(value, door.ticket) for name, _, value in pairs)


async def _body(receive: Receive) -> bytes | None:
    """The whole body; None as soon as it is too large."""
    parts, size = [], 0
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return b""
        part = message.get("body", b"")
        size += len(part)
        if size > MOST_BYTES:
            return None
        parts.append(part)
        if not message.get("more_body"):
            return b"".join(parts)


def _replay(body: bytes) -> Receive:
    sent = False

    async def receive() -> Message:
        nonlocal sent
        if sent:
            return {"type": "http.disconnect"}
        sent = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


_ALWAYS = (
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "same-origin"),
    ("Cache-Control", "no-store"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
)


def _with_headers(send: Send) -> Send:
    async def out(message: Message) -> None:
        if message["type"] == "http.response.start":
            have = {name.lower() for name, _ in message["headers"]}
            more = [(name.encode(), value.encode()) for name, value in _ALWAYS]
            if b"content-security-policy" not in have:
                more.append((b"content-security-policy", POLICY.encode()))
            message = {**message, "headers": [*message["headers"], *more]}
        await send(message)

    return out


async def _answer(send: Send, status: int, text: str, headers: list[tuple[str, str]] | None = None) -> None:
    given = headers or []
    if not any(name == "Content-Type" for name, _ in given):
        given = [*given, ("Content-Type", "text/plain; charset=utf-8")]
    body = text.encode()
    given = [*given, ("Content-Length", str(len(body)))]
    if status == 413:
        given = [*given, ("Connection", "close")]
    out = _with_headers(send)
    pairs = [(name.lower().encode(), value.encode()) for name, value in given]
    await out({"type": "http.response.start", "status": status, "headers": pairs})
    await out({"type": "http.response.body", "body": body})


def _sheet(title: str, body: str) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}, partgen</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<style>:root{color-scheme:light dark}</style>"
        '</head><body style="font:18px/1.5 system-ui,sans-serif;max-width:26rem;margin:2rem auto;padding:0 1rem">'
        f"<main><h1>{title}</h1>{body}</main></body></html>"
    )


def _token_page() -> str:
    """For whoever comes without the token: most often the person whose partgen was started anew."""
    return _sheet(
        "Open the new address",
        "<p>partgen was started anew since this page was opened.</p>"
        "<p><b>In its terminal, open the whole address that it printed, token included.</b></p>"
        "<p>Everything saved is safe. Readings that still waited in this browser are then saved too.</p>",
    )


def _code_page(wrong: str) -> str:
    said = f'<p role="alert"><b>{escape(wrong)}</b></p>' if wrong else ""
    return _sheet(
        "Enter the code",
        f"{said}<p>The terminal where partgen was started shows it.</p>"
        '<form method="post" action="/code"><p><label for="code">Code</label><br>'
        '<input id="code" name="code" inputmode="numeric" autocomplete="off" autofocus '
        'style="font:inherit;min-height:48px;width:12rem"></p>'
        '<p><button style="font:inherit;min-height:48px;padding:0 1.5rem">Open</button></p></form>',
    )
