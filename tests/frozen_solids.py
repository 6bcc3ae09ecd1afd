"""Solids of every kind, kept as they were: `python tests/frozen_solids.py` writes tests/reference/solids.json anew.

Each entry holds the model it was built from, so that only a change of the geometry changes the solid: the planner may
change its mind without touching it. Lengths in mm.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
FILE = Path(__file__).resolve().parent / "reference" / "solids.json"
SHARES = (0.03, 0.2, 0.45, 0.7, 0.95)
"""Where a solid is cut, from its lower to its upper end."""
KNOB = 'proud = 16.0\ndiameter = 16.0\nmark = "none"'
EXTENSION = "proud = 2.0\ncap_height = [5.0, 5.02]\ncap_socket = 3.4\ncap_section = [12.0, 12.0]"
COMBINATIONS = (
    ("button-cap", "rectangle", "ribs", "proud = 2.0"),
    ("button-cap", "tube", "ribs", 'proud = 2.0\ncrown = "dished"'),
    ("button-cap", "cross", "ribs", 'proud = 2.0\ncrown = "domed"\ndraft = 2.0'),
    ("button-cap", "flatted", "fingers", "proud = 2.0"),
    ("button-cap", "round", "ring", 'proud = 2.0\ncrown = "parallel"\nlegend = "A1"\nlegend_form = "raised"'),
    ("button-cap", "two-flats", "set-screw", 'proud = 2.0\ncrown = "parallel"\nlegend = "A1"\n'
     'legend_colour = "#ffffff"'),
    ("button-cap", "tongue", "interference", "proud = 2.0\nsocket_depth = 3.0"),
    ("window-cap", "rectangle", "ribs", 'proud = 2.0\nwindow = [1.0, 2.0]\nwindow_at = [-4.6, 0.0]\n'
     'window_colour = "#ffffff"'),
    ("window-cap", "round", "glue", 'proud = 2.0\nwindow_shape = "round"\n'
     'window = [1.0, 1.0]\nwindow_at = [-4.6, 0.0]'),
    ("knob", "splined", "ribs", f'{KNOB}\npointer = "raised"\ncrown = "domed"'),
    ("knob", "flatted", "set-screw", f'{KNOB}\ngrooves = "ribs"\ngroove_count = 30\npointer_colour = "#ffffff"'),
    ("knob", "flatted", "set-screw", f"{KNOB}\nskirt_diameter = 30.0\nskirt_height = 4.0\n"
     'skirt_form = "flared"\nscale_lines = 12\nscale_span = 360\nscale_fine = 3\nscale_colour = "#ffffff"'),
    ("knob", "split", "fingers", f"{KNOB}\ninlay_diameter = 8.0\ntop_diameter = 14.0"),
    ("knob", "tube", "interference", f"{KNOB}\nthrough = 3.6"),
    ("slider-cap", "tongue", "ribs", "proud = 14.0\nstroke = 24.0"),
    ("slider-cap", "tongue", "ribs", 'proud = 14.0\nstroke = 24.0\nhollow = 0.0\nline = "raised"\ndraft = 2.0'),
    ("slider-cap", "rectangle", "interference", 'proud = 14.0\nstroke = 24.0\nline = "groove"\n'
     'line_colour = "#ffffff"'),
    ("lever-cap", "round", "ribs", 'proud = 18.0\ngrooves = "flutes"\ncrown = "domed"'),
    ("lever-cap", "flatted", "glue", 'proud = 18.0\nform = "flat"\nsection = [14.0, 10.0]\nlegend = "UP"'),
    ("plug", "round-hole", "ribs", 'material = "TPU"'),
    ("plug", "rectangle-hole", "fingers", ""),
    ("plug", "slot-hole", "fingers", ""),
    ("plug", "outline-hole", "ribs", 'material = "TPU"'),
    ("sleeve", "round", "ribs", 'proud = 2.0\nmaterial = "TPU"\nbore = 8.6'),
    ("extension", "rectangle", "ribs",
     EXTENSION),
    ("extension", "tube", "ribs", EXTENSION),
)  # fmt: skip
"""(kind, seat, grip, keys) of `family_gallery`, beside the parts of the profiles that ship."""


def sizes(kind: str, model: Any) -> dict[str, Any]:
    """Volume, box, areas of cuts across the axis, and the volume read back from STEP, mm."""
    from datetime import date

    import manifold3d

    from partgen.geometry import kernel
    from partgen.geometry.solids import solid
    from partgen.geometry.tessellate import tessellate
    from partgen.output.step import StepItem, part_step, read_step

    shape = solid(model)
    low, high = kernel.bounds(shape)
    found = {"volume": kernel.volume(shape), "low": low.tolist(), "high": high.tolist(), "areas": [], "step": []}
    try:
        mesh = tessellate(shape)
    except kernel.Refused:  # several bodies that touch in a line, as the strokes of a sign may
        return found
    whole = manifold3d.Manifold(
        manifold3d.Mesh64(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, dtype=np.uint64))
    )
    found["areas"] = [whole.slice(float(low[2] + share * (high[2] - low[2]))).area() for share in SHARES]
    read = read_step(part_step(StepItem(kind, shape, "#30343a"), date(2026, 1, 1)))
    found["step"] = sorted(one.volume for one in read)
    return found


def model_of(text: str) -> Any:
    """The model that wrote itself so: every name in it is one of our frozen records."""
    from partgen.design import part_models
    from partgen.design.grip import snap
    from partgen.kinds import (
        block,
        button_cap,
        inlays,
        knob_model,
        legend,
        plug_model,
        scale,
        sleeve_model,
        stub,
        window_cap,
    )

    rooms = (
        part_models,
        snap,
        legend,
        scale,
        block,
        button_cap,
        knob_model,
        plug_model,
        sleeve_model,
        stub,
        window_cap,
    )
    names = {name: value for room in (*rooms, inlays) for name, value in vars(room).items() if isinstance(value, type)}
    return eval(text, {"__builtins__": {}}, names)


def planned() -> Iterator[tuple[str, str, Any]]:
    """(name, kind, model) of one position of every part of every profile and combination, and of its further bodies."""
    import family_gallery as gallery

    from partgen.jobs.inputs import gather
    from partgen.jobs.plan import plan_inputs
    from partgen.kinds import BY_KIND

    sets = []
    for path in sorted((FILE.parents[2] / "profiles").glob("*.toml")):
        if not path.name.endswith(".log.toml"):
            found = plan_inputs(gather(path))
            sets.append((path.stem, found.plan.positions, found.inputs.profile))
    for kind, seat, grip, keys in COMBINATIONS:
        profile = gallery.profile(gallery.Combination(kind, seat, grip, keys), bare=True)
        sets.append((f"{kind} {seat} {grip}", gallery.planned(profile)[0], profile))
    for name, plans, profile in sets:
        seen: set[str] = set()
        for plan in plans:
            if plan.part in seen:
                continue
            seen.add(plan.part)
            spec = profile.part[plan.part]
            yield f"{name} {plan.label}", spec.kind, plan.model
            for body in BY_KIND[spec.kind].bodies(plan, spec):
                if body.model is not None:
                    yield f"{name} {plan.label} {body.name}", spec.kind, body.model


def kept() -> list[dict[str, Any]]:
    """The entries as they were written."""
    entries: list[dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))
    return entries


def main() -> None:
    """Build everything and write it."""
    from partgen.core.errors import KernelError

    entries = []
    for name, kind, model in planned():
        try:
            entries.append({"name": name, "kind": kind, "model": repr(model), **sizes(kind, model)})
        except KernelError as error:
            print(f"{name}: {error}", file=sys.stderr)
    FILE.write_text("[\n" + ",\n".join(json.dumps(entry) for entry in entries) + "\n]\n", encoding="utf-8")
    print(f"{len(entries)} solids")


if __name__ == "__main__":
    main()
