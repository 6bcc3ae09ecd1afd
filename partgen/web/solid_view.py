"""One part to turn and cut open, as a page of its own."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources

from markupsafe import Markup

from partgen.core.errors import KernelError, OutsideError
from partgen.jobs.plan import Planned
from partgen.kinds import BY_KIND

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{{ policy }}">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{{ label }} in the round</title>
<style>{{ style }} body { padding: .4rem; } button, select { min-height: 44px; }</style></head>
<body><main>{% include "viewer.html" %}</main><script>{{ script }}</script></body></html>"""


def page_of(planned: Planned, label: str) -> str:
    """The page. Raises OutsideError where the part cannot be built."""
    from partgen.geometry.build_mesh import build_caps
    from partgen.views.report_extras import ReportExtras, Shape
    from partgen.views.report_page import environment
    from partgen.views.viewer import view_3d

    plan = next(p for p in planned.plan.positions if p.label == label)
    maker = BY_KIND[planned.inputs.profile.part[plan.part].kind].maker()
    built = build_caps([plan.model], lambda model: maker)[0]
    if isinstance(built, KernelError):
        raise OutsideError(str(built))
    position = next(p for p in planned.document.positions if p.label == label)
    one = planned.document.model_copy(update={"positions": (position,)})
    shapes = {label: Shape(built.mesh.vertices, built.mesh.faces)}
    script = _text("viewer.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        environment()
        .from_string(_PAGE)
        .render(
            label=label,
            raw=one,
            one="part",
            noun="part",
            view3d=view_3d(one, ReportExtras(shapes=shapes, pictures=False)),
            style=Markup(_text("style.css")),
            script=Markup(script),
            policy=f"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-{digest}'",
        )
    )


def _text(name: str) -> str:
    return resources.files("partgen.views").joinpath("templates", name).read_text(encoding="utf-8")
