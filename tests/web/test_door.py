"""Who is not let in, and that nothing changes when one is refused."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlencode

import pytest
from served import TINY, Served, served

from partgen.web.access import TRIES, Door, Guard


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    folder = tmp_path_factory.mktemp("door")
    (folder / "panel.toml").write_text(TINY)
    (folder.parent / "secret.toml").write_text("a secret")
    with served(folder) as running:
        yield running, folder


@pytest.fixture(autouse=True)
def nothing_changes(page: tuple[Served, Path]) -> Iterator[None]:
    yield
    folder = page[1]
    assert (folder / "panel.toml").read_text() == TINY
    assert {path.name for path in folder.iterdir()} == {"panel.toml"}


def reading(**more: object) -> bytes:
    place = ["position", "A2", "drop"]
    return json.dumps(
        {"tab": "testtab0", "page": "measure", "do": "read", "text": "5.03", "place": place, **more}
    ).encode()


def test_without_the_token_nothing_is_shown_and_nothing_done(page):
    running, _ = page
    for method, path, body in (
        ("GET", "/", None),
        ("GET", "/measure", None),
        ("GET", "/now", None),
        ("GET", "/static/page.js", None),
        ("GET", "/?token=" + "x" * 32, None),
        ("GET", "/?token=", None),
        ("POST", "/do", reading()),
        ("POST", "/code", b"code=00000000"),
    ):
        status, headers, said = running.ask(method, path, body, cookie=False)
        assert status == 403, path
        assert b"token" in said and b"Lamp" not in said
        assert "set-cookie" not in headers
    other = running.cookie[:-1] + ("y" if running.cookie.endswith("x") else "x")  # never the very token
    assert running.ask("GET", "/measure", cookie=False, Cookie=other)[0] == 403


def test_the_cookie_is_kept_from_scripts_and_other_sites(page):
    running, _ = page
    _, headers, _ = running.ask("GET", "/?" + running.address.split("?")[1], cookie=False)
    assert "HttpOnly" in headers["set-cookie"] and "SameSite=Strict" in headers["set-cookie"]
    assert headers["location"] == "/"  # the token does not stay in the address


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": ""}, 403),  # a form of another site or a tool: no browser leaves it out here
        ({"Host": "elsewhere.example"}, 421),  # a name that was pointed at this machine
        ({"Host": "127.0.0.1"}, 421),
        ({"Host": ""}, (400, 421)),  # an HTTP library may refuse it first, with 400 (RFC 9112, section 3.2)
    ],
)
def test_a_request_from_another_site_is_refused_even_with_the_cookie(page, headers, status):
    running, _ = page
    found, _, said = running.ask("POST", "/do", reading(), **headers)
    assert found in (status if isinstance(status, tuple) else (status,)) and said


def test_a_web_socket_is_not_opened(page):
    running, _ = page
    status, _, _ = running.ask(
        "GET", "/do", Connection="Upgrade", Upgrade="websocket",
        **{"Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Version": "13"},
    )  # fmt: skip
    assert status in (403, 404, 405)


@pytest.mark.parametrize(
    "path",
    [
        "/revision/r01/file/../../../panel.toml",
        "/revision/r01/file/%2e%2e/%2e%2e/panel.toml",
        "/revision/..%2f..%2f/report",
        "/revision/r01/file/..%5c..%5csecret.toml",
        "/static/../page.py",
        "/static/%2e%2e/page.py",
        "/revision/r01%00/report",
        "/revision/r01/file//etc/passwd",
        "/revision/r01/report",
        "/static/page.html",
        "/.panel.toml.lock",
    ],
)
def test_names_that_lead_elsewhere_find_nothing(page, path):
    running, _ = page
    status, _, said = running.ask("GET", path)
    assert status in (400, 404)
    assert b"secret" not in said and b"root:" not in said and b"[hole" not in said


def test_a_body_of_100_mb_is_refused_before_it_is_read(page):
    running, _ = page
    status, _, said = running.ask("POST", "/do", b"x" * 65_536, **{"Content-Length": str(100_000_000)})
    assert status == 413 and b"larger" in said
    chunk = b"10000\r\n" + b"x" * 65_536 + b"\r\n"
    status, _, said = running.ask("POST", "/do", chunk * 16, **{"Transfer-Encoding": "chunked"})
    assert status == 413 and b"larger" in said
    assert running.ask("POST", "/do", b"{}", **{"Content-Length": "1e2"})[0] == 400
    assert running.ask("GET", "/measure")[0] == 200  # and the page goes on


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"not json",
        b"[]",
        b'{"tab": "testtab0"}',
        b'{"tab": "../../..", "page": "measure", "do": "open"}',
        b'{"tab": "testtab0", "page": "measure", "do": "open", "seen": -1}',
        b'{"tab": "testtab0", "page": "measure", "do": "open", "seen": 1e400}',
        b'{"tab": "testtab0", "page": "other", "do": "open"}',
        b'{"tab": "testtab0", "page": "measure", "do": "read", "text": ' + b'"' + b"9" * 5000 + b'"}',
        b"\xff\xfe",
        b'{"a":' * 20_000,
    ],
)
def test_what_no_page_sends_is_refused_in_words(page, body):
    running, _ = page
    status, _, said = running.ask("POST", "/do", body)
    assert status == 400
    assert "the request" in json.loads(said)["refused"]


@pytest.mark.parametrize(
    "text", ["nan", "inf", "1e999", "4.3.1", "0x10", "--5", "4,3,1", "5000", "1/0", "five", "<b>5</b>", "5 parsec"]
)
def test_malformed_and_implausible_numbers_are_refused_with_a_reason(page, text):
    running, _ = page
    found = running.do("measure", "read", text=text, place=["position", "A2", "drop"], seen=1)
    assert found["outcome"]["kind"] == "refused"
    said = found["outcome"]["text"] + found["put"]["sofar"]
    assert "was not taken" in said or "is no reading" in said
    assert "<b>5</b>" not in found["put"]["sofar"]


@pytest.mark.parametrize("text", ["nan", "2,5,1", "1e9", "-inf", "2.5.1", "thick", "2.5\n[x]", '2.5" #'])
def test_malformed_values_in_a_form_are_refused_with_the_place(page, text):
    running, _ = page
    found = running.do("shape", "set", text=text, was="2.5", place=["part", "key", "proud"])
    assert "proud" in found["refused"]


def test_places_that_are_not_there_are_refused(page):
    running, _ = page
    for place in (
        ["part", "nobody", "proud"],
        ["part", "key", "nothing"],
        ["hole", "../x", "width"],
        ["caliper", "", "x"],
    ):
        assert "refused" in running.do("shape", "set", text="2", was="", place=place)
    assert "refused" in running.do("build", "again", name="r99")
    assert "refused" in running.do("build", "again", name="../r01")


def test_everything_is_served_from_here_and_says_so(page):
    running, _ = page
    _, headers, body = running.ask("GET", "/measure")
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe-eval" not in policy
    assert b"http://" not in body.replace(running.base.encode(), b"") and b"https://" not in body


# --- the local network's door, without a network -----------------------------------------------------


def knock(guard: Guard, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, dict[str, str], bytes]:
    sent: list[dict] = []
    given = {
        "host": "192.168.1.20:8473",
        **({"origin": "http://192.168.1.20:8473"} if method == "POST" else {}),
        **headers,
    }

    async def run() -> None:
        async def receive() -> dict:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: dict) -> None:
            sent.append(message)

        await guard(
            {
                "type": "http", "method": method, "path": path, "raw_path": path.encode(), "query_string": b"",
                "headers": [(k.encode(), v.encode()) for k, v in given.items()], "server": ("192.168.1.20", 8473),
            },
            receive,
            send,
        )  # fmt: skip

    with ThreadPoolExecutor(1) as aside:  # the browser's driver keeps a loop of its own running in this thread
        aside.submit(lambda: asyncio.run(run())).result()
    headers_out = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], headers_out, b"".join(m.get("body", b"") for m in sent[1:])


async def inside(scope, receive, send):
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


def test_a_phone_gets_in_with_the_code_and_not_without():
    guard = Guard(inside, Door(8473, code="12345678"))
    assert knock(guard, "GET", "/measure")[0] == 403
    status, headers, body = knock(guard, "GET", "/")
    assert status == 200 and b"<label" in body and "set-cookie" not in headers
    status, headers, body = knock(guard, "POST", "/code", urlencode({"code": "12345679"}).encode())
    assert status == 403 and b"not the code" in body and "set-cookie" not in headers
    status, headers, _ = knock(guard, "POST", "/code", urlencode({"code": "1234 5678"}).encode())
    assert status == 303
    cookie = headers["set-cookie"].split(";")[0]
    assert knock(guard, "GET", "/measure", cookie=cookie)[2] == b"inside"
    assert knock(guard, "GET", "/measure", cookie=cookie, host="evil.example:8473")[0] == 421


def test_the_code_cannot_be_guessed_by_trying():
    door = Door(8473, code="12345678")
    for _ in range(TRIES):
        assert door.try_code("0", now=100.0)
    assert "Too many" in door.try_code("12345678", now=101.0)
    assert door.try_code("12345678", now=140.0) == ""
