"""What is typed lands at the place that was shown, or is refused in sight: a real browser and a simulated cable."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from keyboard import Keyboard
from playwright.sync_api import Browser, Page
from served import TINY, Served, served, until

from partgen.profile.load import load_profile

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "profiles" / "fog-signal-controller.toml"


def drops(folder: Path) -> dict[str, tuple[float, ...]]:
    positions = load_profile(folder / "panel.toml").profile.position
    return {p.label: p.drop.values if p.drop else () for p in positions}


@contextmanager
def window(chromium: Browser, page: Served, section: str = "measure", width: int = 1440) -> Iterator[Page]:
    context = chromium.new_context(viewport={"width": width, "height": 844}, has_touch=width < 1000)
    opened = context.new_page()
    faults: list[str] = []
    opened.on("pageerror", lambda error: faults.append(str(error)))
    opened.goto(page.address)
    opened.goto(f"{page.home}/{section}")
    Keyboard(opened).settled()
    yield opened
    context.close()
    assert not faults


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    shutil.copy(DEMO, tmp_path / "panel.toml")
    return tmp_path


def cable(opened: Page, *readings: str, pause: int = 0) -> None:
    for text in readings:
        opened.keyboard.type(text)
        opened.keyboard.press("Enter")
        opened.wait_for_timeout(pause)


def touch(opened: Page, label: str) -> None:
    opened.locator(f'.spot[data-label="{label}"]').click()


def skip_all(opened: Page) -> None:
    """By the page's own button, whatever is asked for: nothing asked for keeps a person from going on."""
    skipped = []
    while (name := opened.locator("#place-name").inner_text()) != "All read":
        skipped.append((name, opened.locator("#quantity").inner_text()))
        assert len(skipped) == len(set(skipped)) < 20, skipped
        assert opened.locator("#drawing svg").count(), f"{skipped[-1]} is asked for with a drawing"
        opened.get_by_role("button", name="Skip").click()
        Keyboard(opened).settled()


def test_a_place_that_was_chosen_stays_until_it_is_left(chromium, demo):
    """Another position has no reading yet: the page must not run there between two readings of the chosen one."""
    with served(demo) as page, window(chromium, page) as opened:
        touch(opened, "B3")
        cable(opened, "6.28", "6.27", "6.29", "6.30", pause=500)
        Keyboard(opened).settled()
        assert drops(demo)["B3"][-4:] == (6.28, 6.27, 6.29, 6.30)
        assert opened.locator("#place-name").inner_text() == "B3"
        opened.wait_for_timeout(500)
        opened.keyboard.press("Enter")  # alone, as a foot switch sends it: on with the list
        Keyboard(opened).settled()
        assert opened.locator("#place-name").inner_text() != "B3"


def test_digits_go_to_the_box_from_anywhere_on_the_page(chromium, demo):
    with served(demo) as page, window(chromium, page) as opened:
        touch(opened, "A5")
        opened.locator("main").click(position={"x": 3, "y": 3})
        cable(opened, "5.11")
        opened.locator('nav a[href$="/scan"], nav a[href$="/shape"]').first.focus()
        cable(opened, "5.12")
        Keyboard(opened).settled()
        assert opened.url.endswith("/measure") and drops(demo)["A5"][-2:] == (5.11, 5.12)


def test_a_reading_without_a_place_stays_in_sight_until_it_has_one(chromium, tmp_path):
    """Everything was read and nothing is asked for."""
    (tmp_path / "panel.toml").write_text(TINY.replace("drop = [5.02]", "drop = [5.02, 5.02, 5.03]"))
    with served(tmp_path) as page, window(chromium, page) as opened:
        skip_all(opened)
        before = drops(tmp_path)
        cable(opened, "4.99")
        assert "4.99 is not saved" in opened.locator(".unsaved").inner_text()
        assert "4.99" in opened.locator("#last").inner_text()
        assert opened.evaluate("window.heard.at(-1)") == "refused"
        assert drops(tmp_path) == before
        touch(opened, "A2")
        Keyboard(opened).settled()
        opened.get_by_role("button", name="Save 4.99 at the place shown").click()
        Keyboard(opened).settled()
        assert drops(tmp_path)["A2"] == (*before["A2"], 4.99) and not opened.locator(".unsaved").count()
    # and the server refuses what names no place, whoever sends it
    with served(tmp_path) as page:
        assert "no place" in page.do("measure", "read", text="5.0")["refused"]


def test_readings_typed_at_several_places_while_partgen_is_gone_land_each_at_its_own(chromium, demo):
    page = Served(demo)
    with window(chromium, page) as opened:
        touch(opened, "A6")
        Keyboard(opened).settled()
        page.kill()
        cable(opened, "6.21", "6.22", pause=50)
        opened.locator("#lost").get_by_text("does not answer").wait_for(timeout=2000)
        touch(opened, "A6")
        cable(opened, "6.23")
        assert "3 waiting to be saved: 6.21 at A6, 6.22 at A6, 6.23 at A6" in opened.locator("#waiting").inner_text()
        with served(demo, "panel.toml", "--port", str(page.port)) as again:
            opened.locator("#lost").get_by_text("started anew").wait_for()
            other = opened.context.new_page()
            other.goto(again.address)  # what the person is told to do
            other.wait_for_url("**/measure")
            Keyboard(other).settled()
            until(lambda: len(drops(demo)["A6"]) >= 3, 20)
            opened.locator("#lost:empty").wait_for(state="attached")  # this tab goes on by itself
            Keyboard(opened).settled()
            assert drops(demo)["A6"][-3:] == (6.21, 6.22, 6.23)
            assert len(drops(demo)["A6"]) == len(load_profile(DEMO).profile.position[5].drop.values) + 3
    page.stop()


def test_a_position_that_went_away_in_an_editor_is_said_and_its_reading_kept_in_sight(chromium, tmp_path):
    path = tmp_path / "panel.toml"
    path.write_text(TINY)
    with served(tmp_path) as page, window(chromium, page) as opened:
        touch(opened, "A2")
        Keyboard(opened).settled()
        opened.keyboard.type("5.0")  # its first digit is typed while A2 is shown
        path.write_text(TINY[: TINY.rindex("[[position]]")])
        opened.wait_for_timeout(900)
        cable(opened, "3")
        opened.locator(".unsaved").get_by_text("5.03 is not saved").wait_for()
        assert "StopIteration" not in opened.locator("body").inner_text()
        assert "A2" not in path.read_text()


@pytest.mark.parametrize("section", ["measure", "shape", "build", "try", "panel"])
def test_a_lost_server_is_said_within_two_seconds_on_every_section(chromium, demo, section):
    page = Served(demo)
    with window(chromium, page, section) as opened:
        opened.wait_for_timeout(300)
        page.kill()
        opened.locator("#lost").get_by_text("does not answer").wait_for(timeout=2000)
    page.stop()


def test_what_the_file_says_is_in_the_field_again_after_keep(chromium, tmp_path):
    path = tmp_path / "panel.toml"
    path.write_text(TINY)
    with served(tmp_path) as page, window(chromium, page, "shape") as opened:
        opened.evaluate("window.stop")  # nothing is pending
        field = opened.locator("#f-proud")
        field.fill("1.7")
        path.write_text(path.read_text().replace("proud = 2.5", "proud = 1.6"))
        field.press("Tab")
        opened.get_by_role("button", name="Keep what the file says").click()
        Keyboard(opened).settled()
        assert field.input_value() == "1.6" and field.get_attribute("data-was") == "1.6"


def test_a_decimal_comma_means_the_same_in_every_box(chromium, tmp_path):
    path = tmp_path / "panel.toml"
    path.write_text(TINY)
    with served(tmp_path) as page:
        place = ["position", "A2", "drop"]
        page.do("measure", "read", text="5,03", place=place, seen=1)
        page.do("shape", "set", text="1,52", was="2.5", place=["part", "key", "proud"])
        page.do("shape", "set", text="10,9, 5,8", was="", place=["part", "key", "section"])
        page.do("measure", "gap", text="4,5;6,5")
        page.do("measure", "read", text="14,21", place=["gap", "1", "read"], name="4.5 6.5")
        profile = load_profile(path).profile
        assert drops(tmp_path)["A2"] == (5.02, 5.03)
        assert profile.part["key"].proud == 1.52 and profile.part["key"].section == (10.9, 5.8)
        assert profile.panel.gap[0].at == (4.5, 6.5) and profile.panel.gap[0].read.values == (14.21,)


def test_wrong_fields_are_marked_where_they_are_and_the_first_has_the_focus(chromium, tmp_path):
    with served(tmp_path) as page, window(chromium, page, "start", 390) as opened:
        opened.get_by_role("button", name="Write the profile").click()
        opened.locator(".fault").first.wait_for()
        wrong = opened.locator('[aria-invalid="true"]')
        assert wrong.count() >= 4
        assert opened.evaluate("document.activeElement.getAttribute('aria-invalid')") == "true"
        opened.wait_for_timeout(300)
        box = opened.evaluate(
            "(() => { const r = document.activeElement.getBoundingClientRect(); return [r.top, r.bottom]; })()"
        )
        assert box[0] >= 0 and box[1] <= 844, "in sight"
        said = opened.locator(".fault").all_inner_texts()
        assert any(re.search("expected", text) for text in said)


def test_the_code_form_lets_a_real_browser_in(chromium, tmp_path):
    """Browsers send the form's Origin as the page's referrer policy has it: with none it would be "null"."""
    (tmp_path / "panel.toml").write_text(TINY)
    with served(tmp_path, "panel.toml", "--lan") as page:
        code = re.search(r"\d{8}", page.process.stderr.readline())
        assert code is not None
        context = chromium.new_context(viewport={"width": 390, "height": 844})
        opened = context.new_page()
        opened.goto(f"{page.base}/")
        opened.get_by_label("Code").fill("00000000")
        opened.get_by_role("button", name="Open").click()
        assert "not the code" in opened.locator("[role=alert]").inner_text()
        opened.get_by_label("Code").fill(code[0])
        opened.keyboard.press("Enter")
        opened.wait_for_url("**/measure")
        assert opened.locator("#place-name").inner_text() == "A2"
        context.close()
