"""The owner's PDF, printed by real Chromium on both papers."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from pypdf import PdfReader
from sample import document

from partgen.core.errors import OutsideError
from partgen.views import pdf
from partgen.views.provenance import figure
from partgen.views.report_page import Paper, render_owner

POINTS = 72 / 25.4
SIZES: dict[Paper, tuple[float, float]] = {"a4": (210, 297), "letter": (215.9, 279.4)}


@pytest.mark.sample(2)
@pytest.mark.parametrize(("n", "paper"), [(1, "letter"), (24, "a4"), (120, "letter"), (120, "a4")])
def test_two_to_four_pages_of_the_right_size_with_every_position(n: int, paper: Paper) -> None:
    """Every label, with its height and its grip at the far end of the row, is on the paper."""
    doc = document(n, states=dict.fromkeys(range(0, n, 9), "fail"))
    made = PdfReader(io.BytesIO(pdf.print_pdf(render_owner(doc, paper=paper))))
    assert 2 <= len(made.pages) <= 4
    for page in made.pages:
        assert [float(v) / POINTS for v in page.mediabox[2:]] == pytest.approx(SIZES[paper], abs=0.4)
    text = "\n".join(page.extract_text() for page in made.pages)
    rows = [line.split() for line in text.splitlines()]
    for p in doc.positions:
        row = next(r for r in rows if r[:1] == [p.label] and figure(p.height_mm) in r)
        assert row[-1] == figure(p.grip_n[1], 1)
    assert doc.title in text and "licensed practice" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_table_is_clipped(opened: Callable[..., Any], paper: Paper) -> None:
    """At the printed width nothing reaches beyond the paper's right margin, even with long labels."""
    doc = document(12, states={1: "fail"}, label="A rather long label, number {} of 12")
    width = round((SIZES[paper][0] - 26) / 25.4 * 96)
    page = opened(render_owner(doc, paper=paper), ready=False, viewport={"width": width, "height": 1000}).page
    page.emulate_media(media="print")
    wide = """(w) => [...document.querySelectorAll('main *')].filter((e) =>
        e.getClientRects().length && !e.closest('svg') && e.getBoundingClientRect().right > w + 1
      ).map((e) => e.outerHTML.slice(0, 90))"""
    assert page.evaluate(wide, width) == []


def test_hostile_text_stays_text_on_paper() -> None:
    """Markup in a label, and a title that would end the footer's CSS string, are printed as they are."""
    doc = document(2, label="<i>{}</i>", title='Panel"; } body { display: none } /*')
    text = "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf.print_pdf(render_owner(doc)))).pages)
    assert "<i>1</i>" in text
    assert text.count('Panel"; } body { display: none } /*') >= 3, "as the title, and in the footer of each page"


def test_without_a_browser_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """By name, for the usual systems, and what else can be done."""
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.setattr(pdf, "_PLACES", ())
    with pytest.raises(OutsideError, match="sudo apt install chromium"):
        pdf.print_pdf("<p>x")


def test_a_browser_that_prints_nothing_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """And not an empty file."""
    monkeypatch.setattr(pdf, "find_browser", lambda: "/bin/true")
    with pytest.raises(OutsideError, match="printed no PDF"):
        pdf.print_pdf("<p>x")
