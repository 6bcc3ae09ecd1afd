"""Pieces of the page from its templates."""

from __future__ import annotations

from functools import cache
from importlib import resources

import jinja2

from partgen.core.cautions import HANDS_IN, NOT_FOR


def piece(template: str, /, **given: object) -> str:
    """One template filled in; everything but our own markup is escaped."""
    return environment().get_template(f"{template}.html").render(**given)


@cache
def environment() -> jinja2.Environment:
    """The templates."""
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("partgen.web"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["cautions"] = (HANDS_IN, NOT_FOR)
    return made


STATIC = ("wire.js", "page.js", "measure.js", "scan.js", "sound.js", "page.css", "report.css")
"""The files that pages ask for."""


@cache
def static(name: str) -> bytes:
    """One of `STATIC`: our own files, and the report's style, which the page shares."""
    if name == "report.css":
        return resources.files("partgen.views").joinpath("templates", "style.css").read_bytes()
    return resources.files("partgen.web").joinpath("static", name).read_bytes()
