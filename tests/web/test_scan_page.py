"""A scan on the bench page, in a real browser: dropped, corrected, accepted; held against the command's result."""

from __future__ import annotations

import base64
import contextlib
import io
import struct
import subprocess
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from keyboard import Keyboard
from PIL import Image
from playwright.sync_api import Browser, Page
from served import Served, served

from partgen.profile.load import load_profile

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "scan"))
from scan_drawing import TABLES, two_rows

PROFILE = f"""\
format = 1  # the lamp room's panel
title = "Lamp room"
{TABLES}"""
DISTANCES = (("S1", "A4", "54.0"), ("S2", "A4", "36.0"), ("S1", "B1", "18.0"), ("A4", "LAMP", "18.0"))
OPENINGS = ["S1", "S2", "A3", "A4", "B1", "B2", "B3", "B4"]
DROP = """([data, name, selector]) => {
  const bytes = Uint8Array.from(atob(data), c => c.charCodeAt(0));
  const carried = new DataTransfer();
  carried.items.add(new File([bytes], name));
  const at = document.querySelector(selector);
  for (const kind of ['dragenter', 'dragover', 'drop'])
    at.dispatchEvent(new DragEvent(kind, { dataTransfer: carried, bubbles: true, cancelable: true })); }"""
TOO_SMALL = """least => [...document.querySelectorAll('a, button, input, select, summary, [tabindex="0"]')]
  .filter(e => e.checkVisibility({opacityProperty: false}) && !e.matches('.skip'))
  .map(e => [e.id || e.textContent.trim().slice(0, 30) || e.tagName, e.getBoundingClientRect()])
  .filter(([, box]) => box.width + 0.5 < least || box.height + 0.5 < least)
  .map(([name, box]) => `${name}: ${box.width.toFixed(0)} x ${box.height.toFixed(0)}`)"""


@pytest.fixture(scope="module")
def scan_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four windows over four rounds, stretched by half a percent along the bed; all invented."""
    return two_rows(tmp_path_factory.mktemp("scan") / "lamp room.png", 150)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    folder = tmp_path_factory.mktemp("scanpage")
    (folder / "panel.toml").write_text(PROFILE)
    with served(folder) as running:
        yield running, folder


@pytest.fixture(autouse=True)
def begun_anew(page: tuple[Served, Path]) -> Iterator[None]:
    """The profile as it was and no scan on the page; and never a file beside the profile."""
    running, folder = page
    (folder / "panel.toml").write_text(PROFILE)
    running.do("scan", "put-away")
    yield
    assert {path.name for path in folder.iterdir()} <= {"panel.toml", "panel.log.toml"}


@contextlib.contextmanager
def opened(chromium: Browser, running: Served, width: int = 1280, section: str = "scan") -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": width, "height": 800})
    window = context.new_page()
    faults: list[str] = []
    window.on("pageerror", lambda error: faults.append(str(error)))
    window.goto(running.address)
    window.goto(f"{running.home}/{section}")
    Keyboard(window).settled()
    yield window
    context.close()
    assert not faults


def drop(window: Page, path: Path, selector: str = "#drop") -> None:
    window.evaluate(DROP, [base64.b64encode(path.read_bytes()).decode(), path.name, selector])
    Keyboard(window).settled()


def settled(window: Page) -> None:
    Keyboard(window).settled()
    window.locator("#settled:not(.stale) #s-accept").wait_for()


def send(running: Served, content: bytes, name: str = "scan.png", **more: str) -> tuple[int, bytes]:
    query = "".join(f"&{key}={quote(value)}" for key, value in more.items())
    status, _, said = running.ask("POST", f"/picture?tab=testtab0&name={quote(name)}{query}", content)
    return status, said


def by_command(folder: Path, scan: Path, *options: str) -> str:
    """What `partgen scan` writes into the same profile."""
    (folder / "panel.toml").write_text(PROFILE)
    subprocess.run(
        [sys.executable, "-m", "partgen", "scan", "panel.toml", str(scan), "--yes", *options],
        cwd=folder, capture_output=True, check=True,
    )  # fmt: skip
    return (folder / "panel.toml").read_text()


def test_dropped_corrected_and_accepted_it_is_what_the_command_writes(chromium, page, scan_file, tmp_path):
    running, folder = page
    path = folder / "panel.toml"
    with opened(chromium, running) as window:
        drop(window, scan_file)
        assert window.locator("#h-found").inner_text() == "8 openings found"
        assert "lamp room.png" in window.locator("#found").inner_text()
        settled(window)
        assert "not proven" in window.locator("#settled").inner_text()
        spot = window.locator('[aria-label^="B3,"]')
        spot.click()
        settled(window)
        assert spot.get_attribute("aria-pressed") == "false"
        assert window.locator("#h-found").inner_text() == "7 openings found"
        assert "B3" not in window.locator("#settled table").inner_text()
        window.locator("#d-names summary").click()
        window.locator("#s-old").select_option("B4")
        window.locator("#s-new").fill("LAMP")
        window.get_by_role("button", name="Rename it").click()
        Keyboard(window).settled()
        for a, b, read in DISTANCES:
            window.locator("#s-a").select_option(a)
            window.locator("#s-b").select_option(b)
            window.locator("#s-read").fill(read)
            window.get_by_role("button", name="Add the distance").click()
            Keyboard(window).settled()
            assert not window.locator("#refused").inner_text()
        settled(window)
        assert "like no hole of the profile" in window.locator("#settled").inner_text()
        assert "--part" not in window.locator("#settled").inner_text(), "the page names its own field"
        window.locator("#s-part").select_option("key")
        settled(window)
        assert "held by calipers distances" in window.locator("#settled").inner_text()
        assert path.read_text() == PROFILE, "nothing is written before it is accepted"
        window.locator("#s-accept").click()
        window.get_by_text("Written to panel.toml").wait_for()
        Keyboard(window).settled()
        assert window.locator("#found").inner_text() == ""
    written = path.read_text()
    options = [word for a, b, read in DISTANCES for word in ("--distance", f"{a} {b} {read}")]
    assert written == by_command(
        tmp_path, scan_file, "--leave-out", "B3", "--rename", "B4 LAMP", "--part", "key", *options
    )
    assert "# the lamp room's panel" in written and "# about" in written
    at = {p.label: p.at for p in load_profile(path).profile.position}
    assert set(at) == {*OPENINGS, "LAMP"} - {"B3", "B4"}
    assert at["A4"][0] - at["S1"][0] == pytest.approx(54, abs=0.1)


def test_by_keyboard_alone_through_the_file_chooser(chromium, page, scan_file):
    running, folder = page
    with opened(chromium, running) as window:
        keys = Keyboard(window)
        keys.tab_to("#scan-file")
        with window.expect_file_chooser() as chooser:
            window.keyboard.press("Space")
        chooser.value.set_files(scan_file)
        window.locator("#h-found").wait_for()
        settled(window)
        keys.tab_to(".spot")
        for key in ("ArrowRight", "ArrowRight", "ArrowDown"):
            window.keyboard.press(key)
        assert window.evaluate("document.activeElement.dataset.label") == "B3"
        window.keyboard.press("Enter")
        settled(window)
        assert window.evaluate("document.activeElement.dataset.label") == "B3", "the focus stays where one is"
        assert window.locator("#h-found").inner_text() == "7 openings found"
        window.keyboard.press("Enter")
        settled(window)
        assert window.locator("#h-found").inner_text() == "8 openings found"
        keys.press("#s-back")
        settled(window)
        assert window.locator("#h-found").inner_text() == "7 openings found"
        keys.press("#s-accept")
        window.get_by_text("Written to panel.toml").wait_for()
    labels = {p.label for p in load_profile(folder / "panel.toml").profile.position}
    assert labels == {"S1", "S2", "A3", "A4"}, "no part was named for the round ones: nothing makes one by itself"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_readable_at_360_px_and_for_every_hand_and_eye(chromium, page, scan_file, scheme):
    running, _ = page
    assert send(running, scan_file.read_bytes())[0] == 200
    context = chromium.new_context(viewport={"width": 360, "height": 740}, color_scheme=scheme)
    window = context.new_page()
    window.goto(running.address)
    window.goto(f"{running.home}/scan")
    settled(window)
    window.locator('[aria-label^="B2,"]').click()
    settled(window)
    window.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    assert window.evaluate(TOO_SMALL, 44) == []  # px; WCAG 2.2, success criterion 2.5.5
    assert window.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in Axe().run(window).response["violations"]] == []
    context.close()


def test_what_would_be_written_must_be_what_was_shown(chromium, page, scan_file):
    running, folder = page
    send(running, scan_file.read_bytes())
    shown = running.do("scan", "more", "/more")["put"]["settled"].split('data-do="accept" data-was="')[1][:32]
    running.do("scan", "toggle", label="B3", tab="othertab")
    running.do("scan", "more", "/more", tab="othertab")  # worked out there, and not shown here
    assert "changed since it was shown" in running.do("scan", "accept", was=shown)["refused"]
    shown = running.do("scan", "more", "/more")["put"]["settled"].split('data-do="accept" data-was="')[1][:32]
    edited = PROFILE.replace("12.02", "12.04")
    (folder / "panel.toml").write_text(edited)
    assert "changed since it was shown" in running.do("scan", "accept", was=shown)["refused"]
    assert (folder / "panel.toml").read_text() == edited


def test_left_out_merged_and_measured_badly_is_refused_in_words(page, scan_file):
    running, folder = page
    send(running, scan_file.read_bytes())
    for what, values in (
        ("rename", {"label": "A3", "new": "A4"}),
        ("rename", {"label": "none", "new": "X"}),
        ("rename", {"label": "A3", "new": "a\nb"}),
        ("merge", {"label": "A3", "other": "A3"}),
        ("merge", {"label": "A3", "other": "Z9"}),
        ("distance", {"a": "S1", "b": "Z9", "read": "54"}),
        ("distance", {"a": "S1", "b": "A4", "read": "far"}),
        ("distance", {"a": "S1", "b": "A4", "read": "-54"}),
        ("distance", {"a": "S1", "b": "S1", "read": "54"}),
        ("distance", {"a": "S1", "b": "A4", "read": "54", "how": "diagonally"}),
    ):
        assert "refused" in running.do("scan", what, values=values), (what, values)
    assert "refused" in running.do("scan", "toggle", label="Z9")
    for label in OPENINGS:
        running.do("scan", "toggle", label=label)
    assert "no openings left" in running.do("scan", "more", "/more")["put"]["settled"]
    assert "refused" in running.do("scan", "accept", was="")
    assert (folder / "panel.toml").read_text() == PROFILE


def huge(width: int, height: int) -> bytes:
    """A whole PNG of almost no bytes that claims to be huge."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = chunk(b"IDAT", zlib.compress(b"\0" * 4096))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + data + chunk(b"IEND", b"")


def coded(image: Image.Image, kind: str, **more: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


GREY = Image.fromarray(np.tile(np.linspace(20, 230, 300).astype(np.uint8), (200, 1)))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty file"),
        (b"title = 1\n", "not a picture"),
        (b"<svg onload='alert(1)'></svg>", "not a picture"),
        (huge(25_000, 20_000), "pixels"),
        (huge(2**31 - 1, 2**31 - 1), "pixels"),
        (coded(GREY.convert("1"), "PNG", dpi=(300, 300)), "grey or colour"),
        (coded(GREY, "PNG"), "under \"How it was scanned\""),
        (coded(GREY, "PNG", dpi=(72, 72)), "72 dots per inch"),
        (coded(Image.new("RGB", (200, 200)), "PNG", dpi=(300, 300)), "even tone"),
        (coded(GREY.convert("RGB"), "JPEG", dpi=(300, 300))[:700], "damaged"),
        (coded(GREY.convert("CMYK"), "TIFF", dpi=(300, 300)), "no openings"),
    ],
)  # fmt: skip
def test_files_that_are_no_scan_are_refused_by_their_own_name(page, content, said):
    running, folder = page
    status, answer = send(running, content, name="not <i>a</i> scan.png")
    text = answer.decode()
    assert status == 400
    assert said in text.replace('\\"', '"') and "not <i>a</i> scan.png" in text
    assert "--" not in text and "/tmp" not in text and "dropped-picture" not in text
    assert running.ask("GET", "/scan")[0] == 200
    assert (folder / "panel.toml").read_text() == PROFILE


def test_a_refusal_is_shown_as_text_on_the_page(chromium, page, tmp_path):
    wrong = tmp_path / "photo of <img src=x onerror=alert(1)>.txt"
    wrong.write_bytes(b"no picture")
    with opened(chromium, page[0]) as window:
        drop(window, wrong)
        assert "<img src=x" in window.locator("#refused").inner_text()
        assert window.locator("#refused img").count() == 0
        assert not window.locator("#h-found").count()


def test_how_it_was_scanned_can_be_said_after_the_picture_was_dropped(chromium, page, scan_file, tmp_path):
    bare = tmp_path / "bare.png"
    Image.open(scan_file).convert("RGB").save(bare)
    with opened(chromium, page[0]) as window:
        drop(window, bare)
        assert "How it was scanned" in window.locator("#refused").inner_text()
        window.locator("#d-how summary").click()
        window.locator("#h-dpi").fill("150")
        window.get_by_role("button", name="Look again").click()
        window.locator("#h-found").wait_for()
        assert window.locator("#refused").inner_text() == ""


@pytest.mark.parametrize("more", [{"dpi": "nan"}, {"dpi": "-1"}, {"behind": "green"}, {"quarters": "9"}, {"x": "1"}])
def test_what_no_page_says_of_a_scan_is_refused(page, scan_file, more):
    status, said = send(page[0], scan_file.read_bytes(), **more)
    assert status == 400 and b"refused" in said


def test_the_door_holds_for_pictures_too(page, scan_file):
    running, _ = page
    body = scan_file.read_bytes()
    assert len(body) > 200_000, "larger than any other request may be"
    where = "/picture?tab=testtab0"
    assert running.ask("POST", where, b"x", cookie=False)[0] == 403
    assert running.ask("POST", where, b"x", cookie=False, **{"Content-Length": "300000"})[0] == 413
    assert running.ask("POST", where, b"x", Origin="http://evil.example")[0] == 403
    assert running.ask("POST", where, b"x", Origin="")[0] == 403
    assert running.ask("POST", where, b"x", Host="evil.example")[0] == 421
    status, _, said = running.ask("POST", where, b"x" * 65_536, **{"Content-Length": str(1_000_000_001)})
    assert status == 413 and b"1000 MB" in said
    assert running.ask("POST", "/do", body)[0] == 413, "only a picture may be large"
    assert running.ask("GET", "/picture/99")[0] == 404
    assert b"S1" not in running.ask("GET", "/picture/../panel.toml")[2]
    assert send(running, body)[0] == 200


def test_a_stream_that_never_says_how_long_it_is_ends_at_the_bound(page, monkeypatch):
    """In this process, with a bound small enough to try."""
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    import partgen.web.page as module
    from partgen.web.access import Door
    from partgen.web.folder import Folder

    monkeypatch.setattr(module, "MOST_BYTES", 400_000)
    door = Door(8473)
    job = Folder(page[1] / "panel.toml", page[1])
    app = module.page_app(job, door)
    asked, sent = [], []

    async def run() -> None:
        async def receive() -> dict[str, object]:
            asked.append(1)
            assert len(asked) < 20, "it reads on without end"
            return {"type": "http.request", "body": b"x" * 100_000, "more_body": True}

        async def send_out(message: dict[str, object]) -> None:
            sent.append(message)

        headers = {
            "host": "127.0.0.1:8473", "origin": "http://127.0.0.1:8473", "cookie": f"{door.cookie}={door.ticket}",
            "transfer-encoding": "chunked",
        }  # fmt: skip
        scope = {
            "type": "http", "method": "POST", "path": "/p/panel/picture", "raw_path": b"/p/panel/picture",
            "query_string": b"tab=testtab0", "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
        }  # fmt: skip
        await app(scope, receive, send_out)

    with ThreadPoolExecutor(1) as aside:  # the browser's driver keeps a loop of its own running in this thread
        aside.submit(lambda: asyncio.run(run())).result()
    job.close()
    assert sent[0]["status"] == 413 and len(asked) == 5


def test_a_picture_dropped_elsewhere_does_not_lead_away(chromium, page, scan_file):
    with opened(chromium, page[0], section="measure") as window:
        drop(window, scan_file, "#reading")
        assert "section Scan" in window.locator("#refused").inner_text()
        assert window.url.endswith("/measure")
