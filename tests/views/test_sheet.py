"""The sheet shows everything that is to be measured, on both papers, with nothing cut off."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdf
import pytest
from commands import run
from playwright.sync_api import Browser, Page

from partgen.metrology.estimate import estimate
from partgen.profile.edit import Place
from partgen.profile.library import find_printer
from partgen.profile.load import load_profile, parse_profile
from partgen.profile.profile_record import Profile
from partgen.views.gap_places import best_gaps
from partgen.views.pdf import print_pdf
from partgen.views.shape_drawings import hole_outline, seat_outlines
from partgen.views.sheet_page import MOST_CARDS, Paper, render_sheet

ROOT = Path(__file__).resolve().parents[2]
PRINTER = find_printer("material-extrusion")
DEMO = load_profile(ROOT / "profiles" / "fog-signal-controller.toml").profile
INCH = load_profile(ROOT / "profiles" / "harbour-lamp-tester.toml").profile
TIDE = load_profile(ROOT / "profiles" / "tide-gauge-panel.toml").profile
SHAPES = load_profile(Path(__file__).parent / "shapes.toml").profile
PAPERS: dict[Paper, tuple[float, float]] = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}  # points: ISO 216, ANSI A


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    opened = browser.new_page()
    yield opened
    opened.close()


@pytest.mark.parametrize("profile", [DEMO, INCH, SHAPES, TIDE], ids=["demo", "inch", "shapes", "over-panel"])
@pytest.mark.parametrize("width_mm", [186, 191.9], ids=["a4", "letter"])
def test_every_text_lies_inside_its_drawing_and_the_page(page: Page, profile: Profile, width_mm: float) -> None:
    px = round(width_mm * 96 / 25.4)
    page.set_viewport_size({"width": px, "height": 1200})
    page.emulate_media(media="print")
    page.set_content(render_sheet(profile, PRINTER, "bench.toml"))
    cut = page.evaluate(
        """() => [...document.querySelectorAll('svg')].flatMap(svg => {
            const room = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text, path, circle')].filter(t => {
                const b = t.getBoundingClientRect();
                return b.left < room.left - .5 || b.right > room.right + .5
                    || b.top < room.top - .5 || b.bottom > room.bottom + .5;
            }).map(t => svg.getAttribute('aria-label') + ': ' + (t.textContent || t.getAttribute('class')));
        })"""
    )
    assert cut == []
    wide = page.evaluate(
        """() => [...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1)
            .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert wide == []


@pytest.mark.parametrize("profile", [DEMO, SHAPES], ids=["demo", "shapes"])
def test_labels_and_letters_in_one_drawing_do_not_cover_one_another(page: Page, profile: Profile) -> None:
    page.set_viewport_size({"width": 703, "height": 1200})
    page.set_content(render_sheet(profile, PRINTER, "bench.toml"))
    covered = page.evaluate(
        """() => [...document.querySelectorAll('svg')].flatMap(svg => {
            const texts = [...svg.querySelectorAll('text')].filter(t => t.textContent)
                .map(t => [t.textContent, t.getBoundingClientRect()]);
            return texts.flatMap(([a, p], i) => texts.slice(i + 1).filter(([b, q]) =>
                Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1
                    && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 3
            ).map(([b]) => svg.getAttribute('aria-label') + ': ' + a + ' / ' + b));
        })"""
    )
    assert covered == []


@pytest.mark.parametrize("paper", PAPERS)
def test_the_pdf_has_every_position_on_the_paper_asked_for(paper: Paper) -> None:
    pdf = pypdf.PdfReader(io.BytesIO(print_pdf(render_sheet(DEMO, PRINTER, "fog-signal-controller.toml", paper))))
    for sheet in pdf.pages:
        size = (float(sheet.mediabox.width), float(sheet.mediabox.height))
        assert size == pytest.approx(PAPERS[paper], abs=1.0)
    text = "\n".join(sheet.extract_text() for sheet in pdf.pages)
    for position in DEMO.position:
        assert position.label in text
    assert "Disconnect the mains" in pdf.pages[0].extract_text()
    assert len(pdf.pages) <= 5


def test_what_was_read_stands_in_its_box_and_what_was_not_is_empty() -> None:
    html = render_sheet(DEMO, PRINTER, "x.toml")
    card = re.search(r"<h3>B7</h3>.*?</section>", html, re.S)
    assert card is not None
    assert re.findall(r'class="box">(.*?)<', card[0]) == ["", "", ""]
    card = re.search(r"<h3>A1</h3>.*?</section>", html, re.S)
    assert card is not None
    assert re.findall(r'class="box">(.*?)<', card[0]) == ["4.73", "4.71", "4.71"]
    assert '"box">0.1855<' in render_sheet(INCH, PRINTER, "x.toml")


def test_hostile_text_stays_text() -> None:
    html = render_sheet(SHAPES, PRINTER, "x.toml")
    assert "<script" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "All shapes &lt;b&gt;&amp; more" in html
    assert "default-src &#39;none&#39;" in html or "default-src 'none'" in html
    assert not re.search(r"""(?:src|href)\s*=""", html)


def test_a_very_large_panel_gets_lines_instead_of_cards() -> None:
    base = (Path(__file__).parent / "shapes.toml").read_text().rstrip()[:-1]
    more = "".join(
        f'  {{label = "P{i}", at = [{20 * (i % 15)}, {50 + 20 * (i // 15)}], part = "g"}},\n' for i in range(300)
    )
    profile = parse_profile(base + more + "]\n", "x")
    html = render_sheet(profile, PRINTER, "x.toml")
    assert len(profile.position) > MOST_CARDS
    assert html.count('class="line"') == len(profile.position)
    assert len(html) < 600_000


def test_areas_of_outlines_are_those_of_the_shapes() -> None:
    """Facets aside, by the handbook formulas (areas of a rounded rectangle, segment and ring)."""

    def area(points: list[tuple[float, float]]) -> float:
        xy = np.array(points)
        return float(abs(np.sum(xy[:, 0] * np.roll(xy[:, 1], -1) - np.roll(xy[:, 0], -1) * xy[:, 1]) / 2))

    assert area(hole_outline(SHAPES.hole["r"])) == pytest.approx(np.pi * 4.5**2, rel=2e-3)
    assert area(hole_outline(SHAPES.hole["s"])) == pytest.approx(5 * 9 + np.pi * 2.5**2, rel=2e-3)
    assert area(hole_outline(SHAPES.hole["w"])) == pytest.approx(11.5 * 6.3 - (4 - np.pi) * 0.25, rel=1e-4)
    # areas of segments by hand: 6 mm with 4.5 across flat has 22.746670 mm2 left; double flat 6/4.8 has 25.331314
    assert area(seat_outlines(SHAPES.seat["flat"])[0]) == pytest.approx(22.746670, rel=2e-3)
    assert area(seat_outlines(SHAPES.seat["flats"])[0]) == pytest.approx(25.331314, rel=2e-3)
    assert area(seat_outlines(SHAPES.seat["cross"])[0]) == pytest.approx(1.6 * (5 + 5.2 - 1.6))


def fresh(gaps: str = "") -> Profile:
    """Positions on one line: the lean across it is all but unknown from drops alone."""
    rows = "".join(f'{{label = "S{i}", at = [{20 * i}, 0], part = "p", drop = 5}}, ' for i in range(5))
    return parse_profile(
        'hole.a = {shape = "round", diameter = 9}\nseat.b = {shape = "round", diameter = 3, length = 4}\n'
        f'part.p = {{kind = "button-cap", hole = "a", seat = "b"}}\nposition = [{rows}]\n' + gaps,
        "x",
    )


def test_proposed_gaps_lower_the_uncertainty_more_than_any_others_around_the_panel() -> None:
    """Held against estimating afresh with a reading at each candidate."""
    profile = fresh()
    best = best_gaps(profile, PRINTER)

    def doubt(places: list[tuple[float, float]]) -> float:
        gaps = "".join(f"[[panel.gap]]\nat = [{x}, {y}]\nread = [12.0, 12.0]\n" for x, y in places)
        drops = fresh(gaps)
        three = drops.model_copy(
            update={
                "position": tuple(
                    p.model_copy(update={"drop": p.drop.__class__((5.0,) * 3, (0.0,) * 3)})
                    for p in drops.position
                    if p.drop
                )
            }
        )
        return float(np.trace(estimate(three, PRINTER).drop_cov))

    corners = [(x, y) for x in (-8.0, 36.0, 88.0) for y in (-8.0, 8.0)]
    pairs = [[a, b] for a in corners for b in corners if a < b]
    assert doubt(best[:2]) <= min(doubt(pair) for pair in pairs) * 1.02


def test_no_gap_is_proposed_where_one_was_read() -> None:
    for x, y in best_gaps(DEMO, PRINTER):
        assert all(np.hypot(x - gap.at[0], y - gap.at[1]) >= 15.0 for gap in DEMO.panel.gap)


def test_the_command_writes_page_and_pdf(tmp_path: Path) -> None:
    profile = ROOT / "profiles" / "harbour-lamp-tester.toml"
    command = [
        sys.executable,
        "-m",
        "partgen",
        "sheet",
        str(profile),
        "--pdf",
        "--paper",
        "letter",
        "--out",
        str(tmp_path),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    folder = tmp_path / "harbour-lamp-tester"
    written = sorted(path.name for path in folder.iterdir())
    assert written == ["sheet-letter.pdf", "sheet.html"]
    assert (folder / "sheet-letter.pdf").read_bytes().startswith(b"%PDF")
    # what the sheet says to type works where this was typed
    assert f"<code>partgen measure {profile}</code>" in (folder / "sheet.html").read_text(encoding="utf-8")


def test_a_broken_profile_ends_it_with_2_and_nothing_written(tmp_path: Path) -> None:
    broken = ROOT / "tests" / "broken" / "unknown-seat.toml"
    done = run(tmp_path, "sheet", str(broken), "--out", str(tmp_path / "out"))
    assert done.returncode == 2
    assert 'did you mean "plunger"' in done.stderr
    assert not (tmp_path / "out").exists()


def test_places_have_titles_of_their_own() -> None:
    assert str(Place("gap", "2", "read")) == "panel gap 2"


def test_a_seat_that_ends_above_the_panel_is_shown_so() -> None:
    """One drawing per hole and seat; those whose drops are negative have the beam on the seat's end."""
    over = {(TIDE.part_of(p).hole, TIDE.part_of(p).seat) for p in TIDE.position if p.drop and p.drop.mean < 0}
    assert len(over) >= 4
    assert render_sheet(TIDE, PRINTER, "tide.toml").count(">negative<") == len(over)
    assert ">negative<" not in render_sheet(DEMO, PRINTER, "bench.toml")
