"""For every hand and eye: axe's rules, things to touch, small screens, and typing while a build runs."""

from __future__ import annotations

import shutil
import statistics
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from keyboard import Keyboard
from playwright.sync_api import Browser, Page
from served import Served, served

from partgen.profile.load import load_profile

ROOT = Path(__file__).resolve().parents[2]
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1366, 800)}
SMALLEST = 44  # px; WCAG 2.2, success criterion 2.5.5 (target size, enhanced)
SECTIONS = ("panel", "printer", "scan", "measure", "shape", "build", "try")

TOO_SMALL = """least => [...document.querySelectorAll('a, button, input, select, summary, [tabindex="0"]')]
  .filter(e => e.checkVisibility({opacityProperty: false}) && !e.closest('p, .skip') && !e.matches('.skip, .spot'))
  .map(e => [e.id || e.textContent.trim().slice(0, 30) || e.tagName, e.getBoundingClientRect()])
  .filter(([, box]) => box.width + 0.5 < least || box.height + 0.5 < least)
  .map(([name, box]) => `${name}: ${box.width.toFixed(0)} x ${box.height.toFixed(0)}`)"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    """The demo with a revision in its log, as if built and tried before; no file of it is needed here."""
    folder = tmp_path_factory.mktemp("looks")
    shutil.copy(ROOT / "profiles" / "fog-signal-controller.toml", folder / "panel.toml")
    _built(folder / "panel.toml")
    with served(folder) as running:
        yield running, folder


def _built(path: Path) -> None:
    """A log entry as a build makes it, without the solids."""
    from datetime import date

    from partgen.jobs.build import _entry
    from partgen.jobs.inputs import gather
    from partgen.jobs.plan import plan_inputs
    from partgen.profile.log_file import append, log_path
    from partgen.profile.log_records import Trial

    inputs = gather(path)
    entry = _entry(inputs, plan_inputs(inputs).document, "r01", date(2026, 11, 25), "0" * 64)
    seen = [Trial(revision="r01", label="A1", date=date(2026, 11, 25), proud_mm=2.9, feel="rubs", side="left")]
    append(log_path(path), revisions=[entry], trials=seen, snapshots=inputs.snapshots)


def opened(chromium: Browser, page: Served, size: str, section: str) -> Page:
    width, height = SIZES[size]
    window = chromium.new_context(viewport={"width": width, "height": height}, has_touch=size != "desktop").new_page()
    window.goto(page.address)
    window.goto(f"{page.home}/{section}")
    Keyboard(window).settled()
    slow = {
        "measure": "#useful h2",
        "shape": "#preview h2",
        "try": "#changes h2",
        "panel": "#overview h2 >> nth=0",
    }.get(section)
    if slow:
        window.locator(slow).wait_for()
    return window


@pytest.mark.sample(6)
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("section", SECTIONS)
def test_every_section_at_every_size(chromium, page, section, size):
    window = opened(chromium, page[0], size, section)
    window.evaluate("for (const d of document.querySelectorAll('details:not(#round)')) d.open = true")
    assert window.evaluate(TOO_SMALL, SMALLEST) == []
    wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert window.evaluate(wider) <= 0, "the page itself never scrolls sideways"
    found = Axe().run(window, options={"iframes": False}).response["violations"]
    grave = [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found if v["impact"] in ("serious", "critical")]
    assert not grave
    assert [v["id"] for v in found] == []  # and nothing lesser either
    window.context.close()


def test_only_a_revision_s_own_files_are_given_out(page):
    running, folder = page
    home = folder / "outputs" / "panel" / "r01"
    (home / "parts").mkdir(parents=True)
    (home / "parts" / "A1-r01.stl").write_bytes(b"a part")
    (home / "elsewhere.stl").symlink_to(folder / "panel.toml")
    try:
        assert running.ask("GET", "/revision/r01/file/parts/A1-r01.stl")[2] == b"a part"
        assert running.ask("GET", "/revision/r01/file/parts%2FA1-r01.stl")[2] == b"a part"
        for name in (
            "/etc/hostname",
            "elsewhere.stl",
            "parts",
            "",
            "parts/../parts/A1-r01.stl",
            str(folder / "panel.toml"),
        ):
            assert running.ask("GET", f"/revision/r01/file/{name}")[0] in (400, 404), name
    finally:
        shutil.rmtree(folder / "outputs")


@pytest.mark.sample(1)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_form_of_a_new_profile(chromium, tmp_path, scheme):
    with served(tmp_path) as running:
        window = chromium.new_context(viewport={"width": 390, "height": 844}, color_scheme=scheme).new_page()
        window.goto(running.address)
        window.wait_for_url("**/start")
        assert window.evaluate(TOO_SMALL, SMALLEST) == []
        assert [v["id"] for v in Axe().run(window).response["violations"]] == []
        window.keyboard.press("Tab")
        window.get_by_role("button", name="Write the profile").click()
        window.locator("#fault-b-hole").wait_for()
        assert window.locator("#fault-b-seat").count() and window.locator("#fault-b-drop").count()
        assert not (tmp_path / "panel.toml").exists()
        window.context.close()


def test_readings_typed_as_fast_as_a_cable_sends_them_all_arrive_in_order(chromium, page):
    running, folder = page
    window = opened(chromium, running, "desktop", "measure")
    keys = Keyboard(window)
    window.locator('.spot[aria-label^="B7,"]').click()
    sent = [f"6.{60 + i % 7}" for i in range(6)]  # twice the wanted number: none goes to another place
    for text in sent[:3]:
        keys.type_line(text)
    keys.settled()
    drops = {p.label: p.drop.values for p in load_profile(folder / "panel.toml").profile.position if p.drop}
    assert drops["B7"] == tuple(float(text) for text in sent[:3])
    window.context.close()


def test_a_reading_typed_while_the_page_does_not_answer_is_saved_later(chromium, page):
    running, folder = page
    window = opened(chromium, running, "desktop", "measure")
    keys = Keyboard(window)
    window.locator('.spot[aria-label^="A1,"]').click()
    keys.settled()
    window.context.set_offline(True)
    keys.type_line("4.72")
    window.get_by_text("1 waiting to be saved: 4.72 at A1").wait_for()
    assert "does not answer" in window.locator("#lost").inner_text()
    window.context.set_offline(False)
    keys.settled()
    drops = {p.label: p.drop.values for p in load_profile(folder / "panel.toml").profile.position if p.drop}
    assert drops["A1"] == (4.73, 4.71, 4.71, 4.72)
    window.context.close()


def test_an_edit_outside_appears_by_itself(chromium, page):
    running, folder = page
    window = opened(chromium, running, "desktop", "shape")
    path = folder / "panel.toml"
    path.write_text(path.read_text().replace('crown = "domed"', 'crown = "dished"'))
    window.get_by_text("changed outside this page").wait_for()
    window.get_by_role("button", name="dot").click()
    Keyboard(window).settled()
    assert window.locator("#f-crown").input_value() == "dished"
    window.context.close()


@pytest.mark.long
def test_typing_stays_smooth_while_a_build_runs(chromium, tmp_path, capsys):
    """The page's own answers during a build against those before it: a build in the same process would stop them."""
    shutil.copy(ROOT / "profiles" / "fog-signal-controller.toml", tmp_path / "panel.toml")
    with served(tmp_path) as running:
        window = opened(chromium, running, "desktop", "measure")
        keys = Keyboard(window)

        def typed() -> list[float]:
            times = []
            for i in range(12):
                window.locator('.spot[aria-label^="A2,"]').click()
                keys.settled()
                begun = window.evaluate("performance.now()")
                keys.type_line(f"5.0{i % 8}")
                keys.settled()
                times.append(window.evaluate("performance.now()") - begun)
            return times

        before = typed()
        running.do("build", "build")
        during = typed()
        assert "Cancel" in running.do("build", "open")["put"]["making"], "it still builds"
        running.do("build", "cancel")
        with capsys.disabled():
            print(
                f"\na reading: {statistics.median(before):.0f} ms before, {statistics.median(during):.0f} ms in a build"
            )
        assert statistics.median(during) < 10 * statistics.median(before)
        window.context.close()
