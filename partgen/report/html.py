"""The report as one self-contained HTML page. May import: fit.document, report.*; jinja2."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from partgen.fit.document import FitDocument
from partgen.report import words
from partgen.report.extras import ReportExtras
from partgen.report.panel_map import marker, panel_map
from partgen.report.section import cut, from_above
from partgen.report.trace import Node, Number, cited, figure, percent
from partgen.report.viewer import view_3d


def render(doc: FitDocument, extras: ReportExtras | None = None) -> str:
    """The interactive report: opens from a file with no network and works without script, too.

    Every text of the document is escaped; a content policy inside the page forbids anything but its
    own two scripts.
    """
    extras = extras or ReportExtras()
    viewer = Markup(_text("viewer.js"))
    return _render("report.html", doc, extras, view3d=view_3d(doc, extras), viewer_script=viewer)


def _render(template: str, doc: FitDocument, extras: ReportExtras, **more: object) -> str:
    root = Node(doc)
    script = Markup(_text("page.js"))  # ours, not the profile's
    hashes = " ".join(f"'{_hash(s)}'" for s in (script, more.get("viewer_script")) if s)
    return (
        environment()
        .get_template(template)
        .render(
            doc=root,
            raw=doc,
            answer=words.answer(doc),
            tasks=words.tasks(doc),
            counts=words.count_states(doc),
            noun=words.noun(doc),
            one=words.noun(doc, 1),
            stem=words.stem(doc),
            words=words,
            extras=extras,
            map=panel_map(doc, links=template == "report.html"),
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
    return resources.files("partgen.report").joinpath("templates", name).read_text(encoding="utf-8")


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
    env.filters.update(fig=_figure, pct=_percent, state=words.STATE_WORD.__getitem__, cls=words.STATE_CLASS.__getitem__)
    env.globals.update(cut=cut, from_above=from_above, mark=_mark)
    return env


def _figure(number: Number | None, digits: int = 2, *, sign: bool = False) -> Any:  # noqa: ANN401
    return Markup("&ndash;") if number is None else cited(number, figure(number.value, digits, sign=sign))


def _percent(number: Number) -> Markup:
    return cited(number, percent(number.value))


def _mark(state: str) -> Markup:
    """A state's shape as a small picture of its own, hidden from screen readers (the word stands beside it)."""
    return Markup('<svg class="mk" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{}</svg>').format(
        marker(state, 12, 12, 9)
    )
