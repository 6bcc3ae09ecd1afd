"""The report as one self-contained HTML page."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import Any, Literal

import jinja2
from markupsafe import Markup

from partgen.core.cautions import CAUTIONS
from partgen.output.result_document import FitDocument, State
from partgen.views import report_words
from partgen.views.figures import Drawn, draw
from partgen.views.panel_map import marker, panel_map
from partgen.views.provenance import Node, Number, cited, figure, percent, short
from partgen.views.report_extras import ReportExtras
from partgen.views.scene import scene
from partgen.views.section_drawing import cut
from partgen.views.thumbnails import plate_plan
from partgen.views.top_view import from_above
from partgen.views.viewer import overview, simplified

Paper = Literal["a4", "letter"]
_PAPERS: dict[Paper, str] = {"a4": "A4 portrait", "letter": "letter portrait"}


def render(doc: FitDocument, extras: ReportExtras | None = None, drawn: Drawn | None = None) -> str:
    """The interactive report: opens from a file with no network and works without script, too.

    Every text of the document is escaped; a content policy inside the page forbids anything but its
    own two scripts. `drawn` are its pictures where they were drawn before.
    """
    extras = extras or ReportExtras()
    drawn = drawn or draw(doc, extras)
    viewer = Markup(_text("viewer.js"))
    return _render("report.html", doc, extras, view3d=drawn.view3d, viewer_script=viewer, poses=drawn.poses)


def render_owner(doc: FitDocument, extras: ReportExtras | None = None, paper: Paper = "a4") -> str:
    """The page that becomes the owner's PDF: no script, two to four sheets for up to 120 positions."""
    extras = extras or ReportExtras()
    root = Node(doc)
    found = report_words.tasks(doc)
    items = scene(doc, extras)
    picture = base64.b64encode(overview(doc, items, *simplified(doc, items))).decode() if extras.pictures else ""
    footer = f"{doc.title or doc.profile}, {doc.revision or 'not built'}, {doc.date}"
    return _render(
        "owner.html",
        doc,
        extras,
        paper=_PAPERS[paper],
        owner_style=Markup(_text("owner.css")),
        footer=_css_string(footer),
        most=8,
        picture=picture,
        typical=root.positions[found[0].index if found else 0],
    )


def render_compare(before: FitDocument, after: FitDocument) -> str:
    """Two revisions of one profile side by side, position by position."""
    first, second = Node(before, "before"), Node(after, "after")
    old = {p.label: first.positions[i] for i, p in enumerate(before.positions)}
    new = {p.label: second.positions[i] for i, p in enumerate(after.positions)}
    labels = [*new, *(label for label in old if label not in new)]
    return _render(
        "compare.html",
        after,
        ReportExtras(),
        before=first,
        after=second,
        first=before.revision or "the first",
        second=after.revision or "the second",
        answers=(report_words.answer(before), report_words.answer(after)),
        pairs=[(old.get(label), new.get(label)) for label in labels],
        difference=lambda a, b: figure(b.value - a.value, 2, sign=True),
    )


def _css_string(text: str) -> Markup:
    """Text as a CSS string: all but letters, digits and blanks as a code point and the blank that ends it."""
    safe = "".join(c if c.isalnum() or c == " " else f"\\{ord(c):x} " for c in text)
    return Markup('"{}"').format(Markup(safe))


def _render(template: str, doc: FitDocument, extras: ReportExtras, **more: object) -> str:
    root = Node(doc)
    script = Markup(_text("page.js"))  # ours, not the profile's
    drawn = report_words.drawn(doc)
    hashes = " ".join(f"'{_hash(s)}'" for s in (script, more.get("viewer_script")) if s)
    return (
        environment()
        .get_template(template)
        .render(
            doc=root,
            raw=doc,
            answer=report_words.answer(doc),
            tasks=report_words.tasks(doc),
            counts=report_words.count_states(doc),
            noun=report_words.noun(doc),
            one=report_words.noun(doc, 1),
            stem=report_words.stem(doc),
            words=report_words,
            cautions=CAUTIONS,
            extras=extras,
            map=panel_map(doc, drawn if template == "report.html" else frozenset()),
            drawn=drawn,
            changes=[p for p in doc.positions if p.change or p.unchanged_since],
            kept=sum(p.unchanged_since is not None for p in doc.positions),
            marks=_marks(),
            style=Markup(_text("style.css")),
            script=script,
            policy=f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src {hashes}; "
            "base-uri 'none'; form-action 'none'",
            **more,
        )
    )


def _hash(script: object) -> str:
    """The content policy's name of a script."""
    return "sha256-" + base64.b64encode(hashlib.sha256(str(script).encode()).digest()).decode()


def _text(name: str) -> str:
    return resources.files("partgen.views").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def environment() -> jinja2.Environment:
    """The templates, with escaping of everything that is not marked as ours."""
    env = jinja2.Environment(
        loader=jinja2.FunctionLoader(_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(
        fig=_figure,
        short=_short,
        pct=_percent,
        state=report_words.STATE_WORD.__getitem__,
        cls=report_words.STATE_CLASS.__getitem__,
    )
    env.globals.update(cut=cut, from_above=from_above, mark=_mark, plate_plan=plate_plan)
    return env


def _figure(number: Number | None, digits: int = 2, *, sign: bool = False) -> Any:  # noqa: ANN401
    return Markup("&ndash;") if number is None else cited(number, figure(number.value, digits, sign=sign))


def _short(number: Number) -> Markup:
    return cited(number, short(number.value))


def _percent(number: Number) -> Markup:
    return cited(number, percent(number.value))


def _mark(state: State) -> Markup:
    """A state's shape as a small picture, hidden from screen readers (the word stands beside it)."""
    return Markup('<svg class="mk" aria-hidden="true"><use href="#m-{}"/></svg>').format(
        report_words.STATE_CLASS[state]
    )


def _marks() -> Markup:
    """The shapes that `_mark` refers to, once per page."""
    symbols = (
        Markup('<symbol id="m-{}" viewBox="0 0 24 24">{}</symbol>').format(name, marker(state, 12, 12, 9))
        for state, name in report_words.STATE_CLASS.items()
    )
    return Markup('<svg class="hide" aria-hidden="true">{}</svg>').format(Markup("").join(symbols))
