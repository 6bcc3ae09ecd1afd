"""The job of 24 positions: measured by a simulated cable without a click, printed, tried in a few touches, r02.

At three sizes; keys and clicks are counted. The place, its drawing, the count and the box are on screen together.
"""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from keyboard import BUILD_LIMIT, Keyboard
from playwright.sync_api import Page
from served import served

from partgen.profile.load import load_profile
from partgen.profile.log_file import read_log

SIZES = {
    "desktop": (1440, 900),
    "tablet": (768, 1024),
    "phone": (390, 844),
}
BEGIN = {
    "title": "Ferry radio console", "rows": "2", "columns": "12", "pitch": "18,02", "row_pitch": "31,5",
    "thickness": "2,02", "seat_length": "4,2", "travel": "2,21", "drop": "5,90", "proud": "1,5",
}  # fmt: skip
SEEN = """() => ['place-name', 'nth', 'reading', 'drawing', 'plan'].filter(id => {
  const box = document.getElementById(id).getBoundingClientRect();
  return !(box.width && box.top >= 0 && box.bottom <= innerHeight && box.left >= 0 && box.right <= innerWidth); })"""
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


OTHER = {
    ("caliper", "zero"): "0.00", ("plunger", "wobble"): "0.15", ("plunger", "body"): "6.5", ("window", "bevel"): "0",
    ("window", "corner radius"): "0.5", ("window", "offset limit"): "0.2",
}  # fmt: skip
"""What is read once beside sizes and drops."""


def drop(label: str) -> float:
    """Of a panel that leans and is not parallel to its board, mm."""
    row, column = label[0] == "B", int(label[1:]) - 1
    return 5.90 + 0.018 * column + 0.30 * row


def answer(opened: Page) -> str:
    """What a person reads at the place that is shown."""
    name, quantity = (opened.locator(f"#{one}").inner_text() for one in ("place-name", "quantity"))
    sizes = {
        ("panel", "thickness"): 2.02, ("window", "width"): 12.40, ("window", "depth"): 7.01,
        ("plunger", "width"): 3.52, ("plunger", "depth"): 3.01, ("plunger", "travel when pressed"): 2.21,
    }  # fmt: skip
    if (name, quantity) in OTHER:
        return OTHER[name, quantity]
    return f"{sizes.get((name, quantity)) or drop(name):.2f}"


def clean(opened: Page) -> None:
    assert opened.evaluate(WIDER) <= 0
    found = Axe().run(opened, options={"iframes": False}).response["violations"]
    assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found] == []


@pytest.mark.parametrize(
    "size", ["desktop", pytest.param("tablet", marks=pytest.mark.long), pytest.param("phone", marks=pytest.mark.long)]
)
def test_the_job_of_24_positions(chromium, tmp_path: Path, size: str, capsys: pytest.CaptureFixture[str]) -> None:
    width, height = SIZES[size]
    counts: Counter[str] = Counter()
    with served(tmp_path, ".") as page:
        opened = chromium.new_context(viewport={"width": width, "height": height}, has_touch=width < 1000).new_page()
        faults: list[str] = []
        opened.on("pageerror", lambda error: faults.append(str(error)))
        keys = Keyboard(opened)
        opened.goto(page.address)
        opened.wait_for_url("**/panels")
        clean(opened)
        opened.get_by_label("Short name").fill("ferry")
        opened.keyboard.press("Enter")
        opened.wait_for_url("**/p/ferry/start")
        for name, value in BEGIN.items():
            opened.locator(f'[name="{name}"]').fill(value)
        opened.locator('[name="hole"]').fill("rectangle 12,40 7,02")
        opened.locator('[name="seat"]').fill("rectangle 3,52 3,01")
        opened.get_by_role("button", name="Write the profile").click()
        opened.wait_for_url("**/measure")
        keys.settled()

        while opened.locator("#place-name").inner_text() != "All read":
            assert opened.evaluate(SEEN) == [], "place, count, drawing, panel and box are on screen together"
            text = answer(opened)
            opened.keyboard.type(text)
            opened.keyboard.press("Enter")
            counts["readings"] += 1
            keys.settled()
            if counts["readings"] > 100:
                break
        profile = load_profile(tmp_path / "ferry.toml").profile
        for position in profile.position:
            assert position.drop is not None and len(position.drop.values) >= 3
            assert all(math.isclose(v, drop(position.label), abs_tol=0.006) for v in position.drop.values), "no stray"
        assert opened.evaluate("new Set(window.heard).has('next') && new Set(window.heard).has('saved')")
        clean(opened)

        opened.locator('nav a[href$="/build"]').click()
        keys.settled()
        opened.locator("#build").click()
        opened.get_by_text("r01 is ready").wait_for(timeout=BUILD_LIMIT)
        clean(opened)

        opened.locator('nav a[href$="/try"]').click()
        keys.settled()
        # three heights
        for label, proud in (
            ("A1", "1,52"),
            ("B12", "1,49"),
            ("A12", "1,50"),
        ):  # and one that is not right
            opened.locator(f'.spot[data-label="{label}"]').click()
            opened.keyboard.type(proud)
            counts["clicks in the trial"] += 1
        opened.locator('.spot[data-label="B5"]').click()
        keys.settled()
        opened.locator("label.pick", has_text="is loose").click()
        keys.settled()
        opened.locator("#undo", has_text="Undo: B5").wait_for(timeout=30_000)  # the page says so when it was kept
        opened.locator("#changes td").first.wait_for(timeout=60_000)
        assert "B5" in opened.locator("#changes").inner_text()
        clean(opened)
        opened.locator("#record-rest").click()
        keys.settled()
        counts["clicks in the trial"] += 3
        trials = {trial.label: trial for trial in read_log(tmp_path / "ferry.log.toml").trial}
        assert len(trials) == 24
        assert trials["A1"].proud_mm == 1.52 and trials["B5"].grip == "loose"
        assert sum(one.feel == "free" and one.grip == "holds" for one in trials.values()) == 23

        opened.locator('nav a[href$="/build"]').click()
        keys.settled()
        opened.locator("#build").click()
        opened.get_by_text("r02 is ready").wait_for(timeout=BUILD_LIMIT)
        opened.context.close()
        assert not faults
    with capsys.disabled():
        print(f"\n{size}: {dict(counts)}; measuring took no click")
    assert counts["clicks in the trial"] <= 8
