"""The report in real Chromium, opened from a file with the network shut off."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sample import document

from partgen.jobs.trial_table import parse_results
from partgen.output.result_document import FitDocument
from partgen.views.report_page import render, render_compare, render_owner

HOSTILE = "</script><script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">&\"'{{7*7}}"


PIXELS = """() => new Promise((done) => {
  document.dispatchEvent(new Event('themechange'));  // draws anew; the pixels are there within the same frame
  requestAnimationFrame(() => {
    const canvas = document.getElementById('canvas'), copy = new OffscreenCanvas(canvas.width, canvas.height);
    const context = copy.getContext('2d');
    context.drawImage(canvas, 0, 0);
    const d = context.getImageData(0, 0, canvas.width, canvas.height).data, colours = new Set();
    let solid = 0;
    for (let i = 0; i < d.length; i += 4)
      if (d[i + 3]) { solid++; colours.add([d[i], d[i + 1], d[i + 2]].map((v) => v >> 4).join()); }
    done({share: 4 * solid / d.length, colours: colours.size});
  });
})"""
BARE_TEXT = """() => {
  const cited = '[data-from],[data-derived],script,style,output,#told,#flag';
  document.querySelectorAll(cited).forEach((e) => e.remove());
  return document.body.textContent.replace(/\\s+/g, ' ');
}"""
WHERE = """() => {
  const svg = document.querySelector('#pos-0 svg.section'), box = svg.getBoundingClientRect();
  return {cap: svg.querySelector('.cap.moves').getBoundingClientRect().top - box.top,
          scale: box.width / svg.viewBox.baseVal.width * svg.dataset.scale};
}"""
TOO_WIDE = """(width) => [...document.querySelectorAll('main *')].filter((e) =>
  e.getClientRects().length && !e.closest('.hide,svg') && e.getBoundingClientRect().right > width + 1
).map((e) => e.outerHTML.slice(0, 90))"""


def look_up(data: Any, path: str) -> Any:
    for key in path.split("."):
        data = data[int(key)] if key.isdigit() else data[key]
    return data


def cited(page: Any) -> list[dict[str, str]]:
    return page.evaluate(
        """() => [...document.querySelectorAll('[data-from]')].map((e) => (
             {path: e.dataset.from, value: e.value ?? e.dataset.value, text: e.textContent}))"""
    )  # type: ignore[no-any-return]


def shows(text: str, value: float) -> bool:
    """Whether a written number is `value` within half of its last digit, percentages and bounds included."""
    clean = text.replace("−", "-").replace("°", "").strip()
    if "under" in clean or "over" in clean:
        bound = float(re.search(r"[\d.]+", clean)[0]) / 100  # type: ignore[index]
        return value <= bound if "under" in clean else value >= bound
    number = re.match(r"[-+]?\d+(?:\.(\d+))?", clean)
    assert number, f"{text!r} shows no number"
    digits = len(number[1] or "")
    factor = 100.0 if "%" in clean else 1.0
    return abs(float(number[0]) - factor * value) <= 0.5000001 * 10**-digits


def changed(data: Any) -> Any:
    """The same document with every number another one (whole numbers stay whole, text stays)."""
    if isinstance(data, dict):
        return {key: value if key == "format" else changed(value) for key, value in data.items()}
    if isinstance(data, list):
        return [changed(value) for value in data]
    if isinstance(data, bool) or not isinstance(data, (int, float)):
        return data
    return data + 1 if isinstance(data, int) else round(data * 1.017 + (0.003 if data else 0.0), 6)


@pytest.mark.parametrize("n", [6, 120])
def test_the_page_opens_without_a_word_and_without_a_request(opened: Callable[..., Any], n: int) -> None:
    """No console message, no request of any kind, and the 3D view has drawn."""
    seen = opened(render(document(n, states={2: "not proven"})))
    assert seen.console == []
    assert seen.requests == []
    # only now, for reading WebGL's pixels back makes the browser itself remark on the delay
    drawn = seen.page.evaluate(PIXELS)
    assert drawn["share"] > 0.1, "the canvas differs from its empty ground"
    assert drawn["colours"] > 8, "and in more than one shade"


def test_every_number_in_the_page_is_the_one_in_fit_json(opened: Callable[..., Any]) -> None:
    """Value and text of every cited element agree with the document at its path."""
    doc = document(6, states={2: "not proven", 4: "fail"})
    data = json.loads(doc.model_dump_json())
    found = cited(opened(render(doc)).page)
    assert len(found) > 300
    for item in found:
        value = look_up(data, item["path"])
        assert float(item["value"]) == value, item
        assert shows(item["text"], value), item
    assert {item["path"].split(".")[-1] for item in found} >= {
        "height_mm", "model_height_mm", "proud_mm", "proud_u95_mm", "proud_pressed_mm", "clearance_mm",
        "clearance_worst_mm", "p_bind", "p_all_fit", "tilt_deg", "tilt_u95_deg", "contribution_mm", "mass_g",
    }  # fmt: skip


def test_no_number_is_written_without_being_cited(opened: Callable[..., Any]) -> None:
    """With every number of the document changed, nothing else in the page's text changes."""
    doc = document(6, states={2: "not proven"})
    other = FitDocument.model_validate(changed(json.loads(doc.model_dump_json())))
    texts = []
    for d in (doc, other):
        page = opened(render(d)).page
        texts.append(page.evaluate(BARE_TEXT))
    assert texts[0] == texts[1]


def test_the_stroke_slider_moves_the_cap_by_what_it_says(opened: Callable[..., Any]) -> None:
    """At the end of its way the crown has sunk by the travel, to the drawing's scale, and the words say so."""
    doc = document(3)
    page = opened(render(doc)).page
    before = page.evaluate(WHERE)
    page.locator("#stroke-0").focus()
    page.keyboard.press("End")
    after = page.evaluate(WHERE)
    travel = doc.positions[0].drawing.travel
    assert after["cap"] - before["cap"] == pytest.approx(travel * before["scale"], abs=0.3)
    said = page.locator("#pos-0 output").text_content()
    assert said.startswith("2.40 mm down")
    assert f"{doc.positions[0].proud_pressed_mm:.2f}".replace("-", "−") in said


def test_the_3d_view_answers_to_keys_buttons_and_lists(opened: Callable[..., Any]) -> None:
    """Turning, hiding the panel, pressing, colouring and cutting each change the picture."""
    page = opened(render(document(6, states={2: "not proven"}))).page
    canvas = page.locator("#canvas")

    def shot() -> bytes:
        page.wait_for_timeout(60)
        return canvas.screenshot()  # type: ignore[no-any-return]

    last = shot()
    canvas.focus()
    for act in (
        lambda: page.keyboard.press("ArrowRight"),
        lambda: page.keyboard.press("+"),
        lambda: page.click("[data-turn='0,15']"),
        lambda: page.click("#v-near"),
        lambda: page.select_option("#v-panel", "none"),
        lambda: page.select_option("#v-colour", "room"),
        lambda: page.select_option("#v-cut", "y"),
        lambda: page.locator("#v-press").fill("2.0"),
        lambda: page.select_option("#v-position", "4"),
    ):
        act()
        now = shot()
        assert now != last
        last = now
    assert page.locator("#told").text_content().startswith("S5: proven")
    assert page.locator("#scale li").count() == 3


def test_clicking_a_cap_in_the_3d_view_chooses_it(opened: Callable[..., Any]) -> None:
    """The flag stands over the chosen one; a click on it anew, after another choice, takes it back."""
    page = opened(render(document(6))).page
    spot = page.evaluate("[parseFloat(flag.style.left), parseFloat(flag.style.top)]")
    page.select_option("#v-position", "5")
    page.locator("#canvas").click(position={"x": spot[0], "y": spot[1]})
    assert page.locator("#v-position").input_value() == "0"


def test_sorting_orders_by_value_and_turns_round(opened: Callable[..., Any]) -> None:
    """By number where a column holds numbers, by label as people count (S2 before S10)."""
    page = opened(render(document(24))).page
    column = page.locator("#t-positions thead th").nth(4)

    def values() -> list[float]:
        return [
            float(v)
            for v in page.eval_on_selector_all(
                "#t-positions tbody tr", "rows => rows.map(r => r.cells[4].querySelector('data').value)"
            )
        ]

    column.locator("button").click()
    assert values() == sorted(values()) and column.get_attribute("aria-sort") == "ascending"
    column.locator("button").press("Enter")
    assert values() == sorted(values(), reverse=True) and column.get_attribute("aria-sort") == "descending"
    page.locator("#t-positions thead th button").first.click()
    labels = page.eval_on_selector_all("#t-positions tbody th", "cells => cells.map(c => c.textContent.trim())")
    assert labels == [f"S{i}" for i in range(1, 25)]


def test_copying_gives_the_table_as_tab_separated_text(opened: Callable[..., Any]) -> None:
    """One line for each row, a tab between cells."""
    page = opened(render(document(6)), permissions=["clipboard-read", "clipboard-write"]).page
    page.click("[data-copy=t-positions]")
    page.get_by_text("Copied.").wait_for()
    rows = list(csv.reader(io.StringIO(page.evaluate("navigator.clipboard.readText()")), delimiter="\t"))
    assert [len(row) for row in rows] == [11] * 7
    assert rows[1][0] == "S1" and rows[1][2] == "5.81"


def test_the_trial_form_saves_the_csv_that_partgen_trial_takes(opened: Callable[..., Any]) -> None:
    """Header and words of the contract, labels untouched, only what was filled in; notes with commas and quotes."""
    page = opened(render(document(4, label='S,{} "x"'))).page
    rows = page.locator("#trialform tbody tr")
    rows.nth(0).locator("[name=proud_mm]").fill("1,45")
    rows.nth(0).locator("[name=feel]").select_option("rubs")
    rows.nth(2).locator("[name=grip]").select_option("tight")
    rows.nth(2).locator("[name=note]").fill('says "no", twice')
    with page.expect_download() as download:
        page.click("#trialform button[type=submit]")
    assert download.value.suggested_filename == "fog-signal-controller-r02-trial.csv"
    text = Path(download.value.path()).read_text(encoding="utf-8")
    assert text.splitlines()[0] == "label,proud_mm,feel,grip,note"
    assert list(csv.reader(io.StringIO(text)))[1:] == [
        ['S,1 "x"', "1.45", "rubs", "", ""],
        ['S,3 "x"', "", "", "tight", 'says "no", twice'],
    ]
    first, second = parse_results(text, "results.csv")  # the very reader of `partgen trial`
    assert (first.label, first.proud_mm, first.feel, first.grip) == ('S,1 "x"', 1.45, "rubs", None)
    assert (second.label, second.grip, second.note) == ('S,3 "x"', "tight", 'says "no", twice')


def test_the_trial_form_refuses_what_is_no_number(opened: Callable[..., Any]) -> None:
    """It says so, marks the box and goes to it; an empty form saves nothing."""
    page = opened(render(document(2))).page
    page.click("#trialform button[type=submit]")
    assert page.locator("#trialform .said").text_content() == "Nothing is filled in yet."
    box = page.locator("[name=proud_mm]").first
    box.fill("1.4 mm high")
    page.click("#trialform button[type=submit]")
    assert "must be a number" in page.locator("#trialform .said").text_content()
    assert box.get_attribute("aria-invalid") == "true"
    assert page.evaluate("document.activeElement.name") == "proud_mm"


@pytest.mark.parametrize("make", [render, render_owner, lambda d: render_compare(d, d)])
def test_text_from_a_profile_stays_text(opened: Callable[..., Any], make: Callable[[FitDocument], str]) -> None:
    """Labels, titles, notes and file names with markup, script and template code run nowhere."""
    doc = document(2, label=HOSTILE + "{}", title=HOSTILE)
    doc = doc.model_copy(
        update={"notes": (HOSTILE,), "sources": (HOSTILE,), "profile": HOSTILE, "printer": HOSTILE, "revision": "r02"}
    )
    seen = opened(make(doc), ready=make is render)
    assert seen.page.title().startswith(HOSTILE)
    assert seen.console == [] and seen.requests == []
    assert seen.page.locator("img[onerror], img[src=x]").count() == 0
    assert "7*7" in seen.page.content() and "{{49}}" not in seen.page.content()
    assert HOSTILE in seen.page.evaluate("document.body.textContent")


@pytest.mark.sample(2)
@pytest.mark.parametrize(
    ("make", "scheme"),
    [(render, "light"), (render, "dark"), (render_owner, "light"), (lambda d: render_compare(d, d), "dark")],
)
def test_nothing_serious_for_people_with_disabilities(
    opened: Callable[..., Any], make: Callable[[FitDocument], str], scheme: str
) -> None:
    """axe-core, WCAG 2.0 to 2.2 A and AA and its best practices, with every card and detail open."""
    from axe_playwright_python.sync_playwright import Axe

    doc = document(3, states={1: "not proven", 2: "fail"})
    seen = opened(make(doc), ready=make is render, color_scheme=scheme)
    seen.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    result = Axe().run(seen.page, options={"runOnly": {"type": "tag", "values": tags}})
    problems = [f"{v['id']} ({v['impact']}): {v['nodes'][0]['html'][:160]}" for v in result.response["violations"]]
    assert problems == []
    assert len(result.response["passes"]) > 12


@pytest.mark.parametrize("n", [6, 120])
def test_no_page_is_wider_than_its_window(opened: Callable[..., Any], n: int) -> None:
    """From a phone to a desk: wide tables scroll inside their own frame."""
    page = opened(render(document(n, states={1: "fail"}))).page
    for width in (360, 768, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("n", [6, 120])
def test_printed_on_a4_nothing_sticks_out(opened: Callable[..., Any], n: int) -> None:
    """Under print rules, at A4's width less margins, no element reaches beyond the right edge."""
    width = math.floor((210 - 24) / 25.4 * 96)
    page = opened(render(document(n, states={1: "fail"})), viewport={"width": width, "height": 1000}).page
    page.emulate_media(media="print")
    assert page.evaluate(TOO_WIDE, width) == []
    assert page.locator(".still").is_visible() and not page.locator("#canvas").is_visible()
    assert page.locator("button:not(th button):visible, select:visible, [type=range]:visible").count() == 0


def test_without_script_and_webgl_everything_but_play_is_there(opened: Callable[..., Any]) -> None:
    """A picture in place of the 3D view, drawings and tables whole, and no dead buttons."""
    page = opened(render(document(6)), ready=False, java_script_enabled=False).page
    assert page.locator(".still").is_visible() and not page.locator("#canvas").is_visible()
    assert page.locator("#pos-0 svg.section").first.is_visible()
    assert page.locator("button:visible").count() == 0
    assert page.locator("#t-positions tbody tr").count() == 6


def test_without_webgl_the_picture_stays(browser: Any, tmp_path: Path) -> None:
    """The script runs, finds no WebGL, and leaves the picture."""
    path = tmp_path / "page.html"
    path.write_text(render(document(3)), encoding="utf-8")
    page = browser.new_page()
    said: list[str] = []
    page.on("pageerror", lambda e: said.append(str(e)))
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null;")
    page.goto(path.as_uri())
    assert page.locator(".still").is_visible() and not page.locator("#controls").is_visible()
    assert page.evaluate("document.querySelector('.still').naturalWidth") == 960
    assert said == []
    page.close()


def test_a_link_on_the_map_opens_its_card(opened: Callable[..., Any]) -> None:
    """And moves the focus there, for the keyboard."""
    page = opened(render(document(6))).page
    assert page.locator("#pos-3").get_attribute("open") is None
    page.locator("svg.map a").nth(3).focus()
    page.keyboard.press("Enter")
    page.locator("#pos-3[open]").wait_for()
    assert page.evaluate("document.activeElement.closest('.card').id") == "pos-3"


def test_what_changed_since_the_last_revision_is_said(opened: Callable[..., Any]) -> None:
    """How many prints still serve, and each change with its reason; nothing of it in a first revision."""
    page = opened(render(document(6))).page
    said = page.locator("section[aria-labelledby=h-since]").text_content()
    assert "1 of 6 printed caps still serves" in said and "0.1 mm taller" in said
    first = document(6).model_copy(update={"previous": None})
    assert opened(render(first)).page.locator("#h-since").count() == 0


def test_light_and_dark_can_be_chosen(opened: Callable[..., Any]) -> None:
    """The button turns the page's ground dark and back, whatever the system's choice."""
    page = opened(render(document(1)), color_scheme="light").page
    ground = "getComputedStyle(document.body).backgroundColor"
    light = page.evaluate(ground)
    page.click("#theme")
    assert page.evaluate(ground) != light and page.locator("#theme").get_attribute("aria-pressed") == "true"
    page.click("#theme")
    assert page.evaluate(ground) == light


def test_two_revisions_stand_side_by_side(opened: Callable[..., Any]) -> None:
    """Every number from one of the two documents; differences are the right ones; new positions are called new."""
    before, after = document(5), document(6)
    before = before.model_copy(update={"revision": "r01"})
    raised = after.positions[0].model_copy(update={"model_height_mm": after.positions[0].model_height_mm + 0.3})
    after = after.model_copy(update={"positions": (raised, *after.positions[1:])})
    seen = opened(render_compare(before, after), ready=False)
    data = {"before": json.loads(before.model_dump_json()), "after": json.loads(after.model_dump_json())}
    for item in cited(seen.page):
        assert float(item["value"]) == look_up(data, item["path"])
        assert shows(item["text"], look_up(data, item["path"]))
    rows = seen.page.eval_on_selector_all(
        "#t-compare tbody tr", "rows => rows.map(r => [...r.cells].map(c => c.textContent.trim()))"
    )
    assert rows[0][3] == "+0.30" and rows[1][3] == "0.00"
    assert rows[5][6].startswith("new")
    assert seen.console == [] and seen.requests == []


@pytest.mark.parametrize("n", [6, 24, 120])
def test_size_stays_far_below_six_megabytes(n: int) -> None:
    """The sample has plain stand-ins; bench/report.py measures built sets."""
    assert len(render(document(n)).encode()) < 4_000_000


def test_each_column_of_the_table_shows_its_own_quantity(opened: Callable[..., Any]) -> None:
    """In the order of the headings, for the first and the last position."""
    page = opened(render(document(6))).page
    for row in (0, 5):
        paths = page.eval_on_selector_all(
            "#t-positions tbody tr", f"rows => [...rows[{row}].querySelectorAll('data')].map(d => d.dataset.from)"
        )
        assert [p.removeprefix(f"positions.{row}.") for p in paths] == [
            "height_mm", "model_height_mm", "proud_mm", "proud_u95_mm", "proud_pressed_mm", "clearance_mm",
            "clearance_worst_mm", "geometry.clearance_mm", "p_bind", "grip_n.0", "grip_n.1",
        ]  # fmt: skip
