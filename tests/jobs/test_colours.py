"""Parts in two colours: bodies that fill what was cut, in the 3MF too; and patterns that are larger than the part."""

from __future__ import annotations

import ctypes
import io
import json
import re
import zipfile
from dataclasses import replace
from pathlib import Path

import lib3mf
import numpy as np
import pytest
from family_gallery import Combination, built, planned, profile
from manifold3d import Manifold, Mesh64
from typer.testing import CliRunner

from partgen.cli.app import app
from partgen.geometry import kernel, solids
from partgen.geometry.mesh_records import Mesh
from partgen.geometry.split_mesh import split_at
from partgen.jobs.build_meshes import MadePart
from partgen.kinds import BY_KIND
from partgen.kinds.inlays import Piece, inlay_of
from partgen.kinds.legend import letters
from partgen.output.stl import read_stl
from partgen.output.threemf import MODEL_PART, read_3mf

TWO = [
    Combination("button-cap", "rectangle", "ribs", 'legend = "R8"\nlegend_colour = "#ffffff"'),
    Combination("button-cap", "rectangle", "ribs", 'crown = "parallel"\nsign = "ring"\nlegend_colour = "#ffffff"'),
    Combination("button-cap", "rectangle", "ribs",
                'crown = "parallel"\nlegend = "ON"\nlegend_form = "raised"\nlegend_colour = "#ffffff"'),
    Combination("knob", "flatted", "set-screw", 'legend = "7"\nlegend_colour = "#ffffff"\npointer_colour = "#ff0000"'),
    Combination("knob", "flatted", "set-screw", 'pointer = "raised"\npointer_colour = "#ff0000"'),
    Combination("knob", "flatted", "set-screw",
                'skirt_diameter = 30.0\nskirt_form = "flared"\nskirt_height = 4.0\nscale_lines = 5\n'
                'scale_numbers = true\nscale_colour = "#ffffff"'),
    Combination("slider-cap", "tongue", "ribs", 'line_colour = "#ffffff"'),
    Combination("lever-cap", "tongue", "ribs", 'legend = "UP"\nlegend_colour = "#ffffff"'),
]  # fmt: skip


def solid(mesh: Mesh) -> Manifold:
    return Manifold(Mesh64(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces, dtype=np.uint64)))


@pytest.mark.parametrize("one", TWO, ids=lambda one: one.name[:70])
def test_bodies_fill_the_part_and_share_nothing_with_it(one: Combination) -> None:
    _, made, failed = built(profile(one))
    assert not failed
    part = made["P1"]
    assert part.bodies and part.core is not None
    assert not [f for f in part.findings if f.state == "fail"]
    for body in part.bodies:
        assert body.mesh.is_watertight and body.mesh.volume > 0.05
        # facets of curved walls may stray by the mesh's chord from one another
        assert (solid(body.mesh) ^ solid(part.core)).volume() < 2e-3 * body.mesh.volume
    assert part.core.is_watertight
    raised = "raised" in one.keys
    top = part.plan.model.height
    if raised:  # the part without them and they together are the part as it is in the STL
        whole = part.core.volume + sum(b.mesh.volume for b in part.bodies)
        (over,) = part.bodies  # letters alone, no sliver of the crown beside them
        upright = over.mesh.vertices @ np.array([-part.plan.model.crown.slope[0], -part.plan.model.crown.slope[1], 1.0])
        assert upright.min() > top + 1e-3
        legend = getattr(part.plan.model, "legend", None)
        if legend is not None:
            area = sum(a.size for a in letters(legend))
            assert over.mesh.volume == pytest.approx(area * legend.depth, rel=0.02)
        assert whole == pytest.approx(part.cap.mesh.volume, rel=1e-6)
    elif part.plan.model.crown.kind == "flat" and part.bodies[0].name not in ("scale", "line"):
        assert max(b.mesh.bounds[1, 2] for b in part.bodies) == pytest.approx(top, abs=1e-3)
    if part.bodies[0].name == "legend" and not raised:
        legend = part.plan.model.legend  # type: ignore[attr-defined]
        area = sum(a.size for a in letters(legend))
        assert part.bodies[0].mesh.volume == pytest.approx(area * legend.depth, rel=1e-3)


@pytest.mark.parametrize("piece", ["legend", "scale"])
def test_letters_and_scales_of_a_fluted_knob_are_those_of_a_smooth_one(piece: Piece) -> None:
    """What fills them is worked out without the flutes, which took the kernel minutes where there were many."""
    keys = (
        'grooves = "flutes"\ngroove_count = 7\nlegend = "7"\nlegend_colour = "#ffffff"\nskirt_diameter = 30.0\n'
        'scale_lines = 5\nscale_colour = "#ffffff"'
    )
    plan = planned(profile(Combination("knob", "round", "glue", keys)))[0][0]
    model = inlay_of(plan.model, piece, "knob")
    of = replace(plan.model, mark="", mark_kind="none")
    without: dict[str, object] = {"scale": None}
    if piece == "legend":
        without = {"legend": replace(getattr(of, "legend"), blank=True)}  # noqa: B009 - the pointer stays away from it
    build = BY_KIND["knob"].maker().solid
    apart = kernel.cut(build(replace(of, **without)), build(of))
    assert kernel.volume(solids.solid(model)) == pytest.approx(kernel.volume(apart), rel=1e-5)


def test_a_part_of_one_colour_has_no_bodies() -> None:
    _, made, _ = built(profile(Combination("button-cap", "rectangle", "ribs", 'legend = "R8"')))
    assert made["P1"].bodies == () and made["P1"].core is None


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('crown = "domed"\npointer = "raised"\npointer_colour = "#ff0000"', "flat crown"),
        ('legend = "7"\nlegend_form = "raised"\npointer = "raised"\npointer_colour = "#ff0000"', "one colour only"),
    ],
)
def test_what_cannot_have_its_own_colour_is_said(keys: str, words: str) -> None:
    plans, _, _ = built(profile(Combination("knob", "flatted", "set-screw", keys)))
    (found,) = [f for f in plans[0].checks if f.code == "second-colour"]
    assert found.state == "fail" and words in found.why


def test_a_split_keeps_all_of_the_volume(made_button: MadePart) -> None:
    mesh = made_button.cap.mesh
    below, above = split_at(mesh, 1.0, (0.05, -0.02))
    assert below.is_watertight and above.is_watertight
    assert below.volume + above.volume == pytest.approx(mesh.volume, rel=1e-9)
    plane = 1.0 + below.vertices[:, :2] @ np.array([0.05, -0.02])
    assert (below.vertices[:, 2] <= plane + 1e-9).all()


@pytest.fixture(scope="module")
def made_button() -> MadePart:
    return built(profile(Combination("button-cap", "rectangle", "ribs")))[1]["P1"]


PROFILE = """
format = 1
[panel]
thickness = [2.02, 2.03]
[hole.window]
shape = "rectangle"
width = [12.0, 12.02]
depth = [9.0, 9.02]
[seat.plunger]
shape = "rectangle"
width = [3.3, 3.29]
depth = [3.3, 3.28]
length = 4.2
travel = [1.6]
body = 6.6
[part.key]
kind = "button-cap"
hole = "window"
seat = "plunger"
proud = 1.6
colour = "#30343a"
{keys}
"""


def build(folder: Path, keys: str, *more: str) -> dict[str, object]:
    text = PROFILE.format(keys=keys)
    for k, (x, y) in enumerate([(0, 0), (30, 0), (0, 30)]):
        text += f'[[position]]\nlabel = "S{k}"\nat = [{x}, {y}]\npart = "key"\ndrop = [4.3, 4.31, 4.3]\n'
    (folder / "two.toml").write_text(text, encoding="utf-8")
    done = CliRunner().invoke(
        app, ["build", str(folder / "two.toml"), "--out", str(folder / "out"), "--json", "--quiet", *more]
    )
    found: dict[str, object] = json.loads(done.stdout)
    return found


def test_the_3mf_holds_the_part_and_its_second_colour_and_the_stl_one_body(tmp_path: Path) -> None:
    document = build(tmp_path, 'legend = "A"\nlegend_colour = "#f0f0f0"')
    home = tmp_path / "out" / "two" / "r01"
    data = (home / "plate-1.3mf").read_bytes()
    items = read_3mf(data)
    assert len(items) == 3
    shown = (home / "report.html").read_text(encoding="utf-8")
    assert shown.count('"colour": "#f0f0f0"') == 3  # each letter in the 3D view
    assert "legend #f0f0f0" in (home / "order" / "order-sheet.html").read_text(encoding="utf-8")
    for item in items:
        assert item.colour == "#30343a" and [f.colour for f in item.further] == ["#f0f0f0"]
        # the letters lie inside the part's box, on the plate
        low, high = item.mesh.bounds
        assert (item.further[0].mesh.bounds[0] >= low - 1e-4).all() and (
            item.further[0].mesh.bounds[1] <= high + 1e-4
        ).all()
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer((ctypes.c_uint8 * len(data)).from_buffer_copy(data))
    assert reader.GetWarningCount() == 0
    several = model.GetComponentsObjects()
    assert several.Count() == 3
    meshes = model.GetMeshObjects()
    while meshes.MoveNext():
        assert meshes.GetCurrentMeshObject().IsManifoldAndOriented()
    for position in document["positions"]:  # type: ignore[attr-defined]
        (colour,) = position["geometry"]["colours"]
        assert colour["name"] == "legend" and colour["colour"] == "#f0f0f0" and colour["volume_mm3"] > 0.1
        facts = read_stl((home / position["file"]).read_bytes())
        assert facts.watertight
        assert facts.volume == pytest.approx(position["geometry"]["volume_mm3"], rel=1e-4)


def test_a_pattern_is_larger_by_the_shrinkage_everywhere_and_the_checks_speak_of_the_copy(tmp_path: Path) -> None:
    """A copy shrinks by s: the pattern is 1 / (1 - s) times as large, its volume the cube of that."""
    (tmp_path / "plain").mkdir()
    (tmp_path / "large").mkdir()
    plain = build(tmp_path / "plain", "")
    large = build(tmp_path / "large", "shrinkage = 0.02", "--formats", "stl,3mf,step")
    k = 1 / 0.98
    assert any("pattern for copies that shrink by 2 %" in note for note in large["notes"])  # type: ignore[attr-defined]
    for one, other in zip(plain["positions"], large["positions"], strict=True):  # type: ignore[call-overload]
        assert other["model_height_mm"] == one["model_height_mm"]
        assert other["geometry"]["clearance_mm"] == one["geometry"]["clearance_mm"]
        assert other["geometry"]["scale"] == pytest.approx(k, abs=1e-6)
        assert other["extent_mm"] == pytest.approx([k * v for v in one["extent_mm"]], abs=1e-4)
        home = tmp_path / "large" / "out" / "two" / "r01"
        facts = read_stl((home / other["file"]).read_bytes())
        assert facts.volume == pytest.approx(k**3 * one["geometry"]["volume_mm3"], rel=1e-4)
        from partgen.output.step import read_step

        (step,) = read_step((home / other["file"].replace(".stl", ".step")).read_bytes())
        assert step.volume == pytest.approx(facts.volume, rel=1e-3)
    assert read_3mf((home / "plate-1.3mf").read_bytes())[0].mesh.volume == pytest.approx(facts.volume, rel=1e-3)
    from partgen.output.result_document import FitDocument
    from partgen.views.report_files import extras_on_disk

    seen = extras_on_disk(FitDocument.model_validate(large), home.parent)
    shape = seen.shapes["S0"].vertices
    assert np.ptp(shape[:, 2]) == pytest.approx(plain["positions"][0]["extent_mm"][2], abs=1e-3)  # type: ignore[index]


def test_a_report_drawn_again_shows_every_colour_where_it_was(tmp_path: Path) -> None:
    """From the plates, moved back from where the parts lie on them; where a plate is damaged, in one colour."""
    from partgen.output.result_document import FitDocument
    from partgen.views.report_files import extras_on_disk

    document = FitDocument.model_validate(build(tmp_path, 'legend = "A"\nlegend_colour = "#F0f0f0"\nshrinkage = 0.02'))
    home = tmp_path / "out" / "two" / "r01"
    page, plate = home / "report.html", home / "plate-1.3mf"

    def colours() -> list[str]:
        return re.findall(r'"colour": "(#\w+)"', page.read_text(encoding="utf-8"))

    def again() -> list[str]:
        page.unlink()
        done = CliRunner().invoke(app, ["report", str(tmp_path / "two.toml"), "--out", str(tmp_path / "out")])
        assert done.exit_code == 0, done.output
        return colours()

    at_build = colours()
    assert len(at_build) == 6 and again() == at_build
    seen = extras_on_disk(document, home.parent)
    for position in document.positions:
        (core, own), (letter, colour) = seen.bodies[position.label]
        assert (own, colour) == ("", "#F0f0f0")
        whole = seen.shapes[position.label].vertices  # from the STL file
        assert [core.vertices.min(axis=0), core.vertices.max(axis=0)] == [
            pytest.approx(whole.min(axis=0), abs=1e-4),
            pytest.approx(whole.max(axis=0), abs=1e-4),
        ]
        assert letter.vertices[:, 2].max() == pytest.approx(position.model_height_mm, abs=1e-4)
        assert Mesh(letter.vertices, letter.faces).volume == pytest.approx(
            position.geometry.colours[0].volume_mm3,
            rel=1e-4,  # type: ignore[union-attr]
        )
    data = plate.read_bytes()
    text = zipfile.ZipFile(plate).read(MODEL_PART)
    for spoilt in (b"", data[:-30], text, packed(text[:-30]), packed(text.replace(b'v1="0"', b'v1="99999"')),
                   packed(text.replace(b"F0F0F0", b"12"))):  # fmt: skip
        plate.write_bytes(spoilt)
        assert again() == at_build[3:]


def packed(text: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as package:
        package.writestr(MODEL_PART, text)
    return held.getvalue()
