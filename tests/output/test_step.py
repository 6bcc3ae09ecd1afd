"""STEP (ISO 10303-21): read back by the kernel with the same volume, name and colour; equal bytes for equal input."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import numpy as np
import pytest
from builders import tilted_panel
from cap_models import CROWNS, RECTANGLE, ROUND, SECTIONS, SOCKETS, cap

from partgen.geometry import kernel
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.engraved import engraved
from partgen.geometry.mesh_records import BuiltCap
from partgen.geometry.solids import solid
from partgen.geometry.surroundings import panel_solid, seat_solid, seat_tops, tilted
from partgen.output.step import StepItem, assembly_step, part_step, read_step

DAY = date(2026, 3, 4)


def moved(x: float, y: float, z: float) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, 3] = (x, y, z)
    return matrix


@pytest.fixture(scope="module")
def caps() -> list[BuiltCap]:
    models = [
        cap(RECTANGLE, mark="S1", mark_kind="sunk"),
        cap(ROUND, socket=SOCKETS["round"], mark="80", mark_kind="raised"),
    ]
    return list(build_caps(models))


@pytest.fixture(scope="module")
def solids(caps: list[BuiltCap]) -> list[kernel.Shape]:
    return [engraved(solid(b.model), b.engraving.outlines, b.engraving.z, b.engraving.depth, "cap") for b in caps]


def test_the_solid_has_the_very_mark_of_the_mesh(caps: list[BuiltCap], solids: list[kernel.Shape]) -> None:
    """Two independent ways to one volume: Boolean in the kernel, polygon areas in the mesh."""
    for built, shape in zip(caps, solids, strict=True):
        assert kernel.volume(shape) == pytest.approx(built.volume, rel=1e-9)
        assert kernel.bounds(shape) == pytest.approx(built.bounds, abs=1e-6)


@pytest.mark.parametrize("name", ["S1-r01", "Höhe ☃ 'x' \\ 😀", "a\nb\x07", "Überlänge " * 9])
def test_a_part_comes_back_with_name_colour_and_volume(
    name: str, caps: list[BuiltCap], solids: list[kernel.Shape]
) -> None:
    data = part_step(StepItem(name, solids[0], "#c03020"), DAY)
    (read,) = read_step(data)
    assert read.name == name.replace("\n", " ").replace("\x07", " ").strip()
    assert read.colour == "#c03020"
    assert read.volume == pytest.approx(caps[0].volume, rel=1e-6)
    assert read.bounds == pytest.approx(caps[0].bounds, abs=1e-6)


def test_the_file_has_the_standards_frame_and_says_millimetres(solids: list[kernel.Shape]) -> None:
    text = part_step(StepItem("S1", solids[0], "#c03020"), DAY).decode("ascii")
    assert text.startswith("ISO-10303-21;")
    assert text.rstrip().endswith("END-ISO-10303-21;")
    assert "FILE_SCHEMA(('AUTOMOTIVE_DESIGN" in text
    assert "SI_UNIT(.MILLI.,.METRE.)" in text
    assert text.count("MANIFOLD_SOLID_BREP(") == 1
    assert "'2026-03-04T00:00:00'" in text


def test_equal_input_gives_equal_bytes_whatever_was_written_before(solids: list[kernel.Shape]) -> None:
    items = [StepItem("S1", solids[0], "#c03020"), StepItem("S2", solids[1], "#30343a", moved(20, 0, 1))]
    first = part_step(items[0], DAY), assembly_step(items, "set", DAY)
    again = part_step(items[0], DAY), assembly_step(items, "set", DAY)
    assert first == again


def test_the_order_of_colours_is_fixed_whatever_the_writers_own() -> None:
    """Two orders of the same records, as the kernel was seen to write them, come out the same."""
    from partgen.output.step_order import in_fixed_order

    root = "MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION"
    red, green = "COLOUR_RGB('',1.,0.,0.)", "COLOUR_RGB('',0.,1.,0.)"

    def written(first: tuple[int, str], second: tuple[int, str]) -> str:
        lines = ["#1 = A();", "#2 = B();"]
        for number, (target, colour) in zip((3, 6), (first, second), strict=True):
            lines.append(f"#{number} = {root}('',(\n    #{number + 1}),#9);")
            lines.append(f"#{number + 1} = STYLED_ITEM('color',(#{number + 2}),#{target});")
            lines.append(f"#{number + 2} = {colour};")
        return "\n".join([*lines, "ENDSEC;", ""])

    one, other = written((1, red), (2, green)), written((2, green), (1, red))
    assert one != other
    assert in_fixed_order(one) == in_fixed_order(other)
    assert "#1 = A();" in in_fixed_order(one)


def test_writing_says_nothing_on_standard_output() -> None:
    code = (
        "from datetime import date; from partgen.output.step import *; from partgen.geometry import kernel as k;"
        "read_step(part_step(StepItem('a', k.box(0,1,0,1,0,1), '#112233'), date(2026,1,1)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == ""


def test_an_assembly_keeps_places_names_colours_and_shares_equal_shapes(solids: list[kernel.Shape]) -> None:
    items = [
        StepItem("S1", solids[0], "#c03020"),
        StepItem("S2", solids[1], "#30343a", moved(20, 5, 1)),
        StepItem("S3", solids[1], "#30343a", moved(40, 5, 2)),
    ]
    data = assembly_step(items, "set", DAY)
    assert data.count(b"MANIFOLD_SOLID_BREP(") == 2
    read = read_step(data)
    assert [(r.name, r.colour) for r in read] == [("S1", "#c03020"), ("S2", "#30343a"), ("S3", "#30343a")]
    for item, back in zip(items, read, strict=True):
        place = item.place if item.place is not None else np.eye(4)
        assert back.volume == pytest.approx(kernel.volume(item.shape), rel=1e-6)
        assert back.bounds == pytest.approx(kernel.bounds(item.shape) + place[:3, 3], abs=1e-6)


def planned():
    from partgen.design.plan_set import plan_set
    from partgen.metrology.estimate import estimate
    from partgen.profile.library import find_material, find_printer
    from partgen.profile.printer_records import Printer

    profile = tilted_panel(n=3)
    printer = find_printer("material-extrusion")
    assert isinstance(printer, Printer)
    return profile, plan_set(profile, estimate(profile, printer), printer, find_material, draws=2000)


def test_the_panel_has_its_holes_where_the_caps_stand() -> None:
    """Seen along the panel's normal, every hole takes away its section's area times the thickness."""
    profile, plan = planned()
    slope = plan.panel.slope
    panel = panel_solid(plan.positions, slope)
    tops = seat_tops(plan.positions, slope)
    for position, top in zip(plan.positions, tops, strict=True):
        seat = seat_solid(profile.seat[position.seat])
        assert kernel.bounds(seat)[1, 2] == pytest.approx(0.0, abs=1e-6)
        passing = kernel.transformed(kernel.prism(kernel.Circle(2.0), -5.0, 20.0), moved(*top))
        assert kernel.volume(kernel.common(panel, passing)) == pytest.approx(0.0, abs=1e-9)
        beside = moved(0.0, 6.0, 0.0)[:3, 3] + top
        needle = kernel.transformed(kernel.box(-0.01, 0.01, -0.01, 0.01, -5.0, 20.0), moved(*beside))
        through = kernel.common(panel, needle)
        low, high = kernel.bounds(through)[:, 2]
        face = top[2] + position.drop + slope[1] * 6.0
        assert high == pytest.approx(face, abs=2e-3)  # the panel's face, as the drop was measured
        assert high - low == pytest.approx(position.thickness / tilted(slope)[2, 2], abs=2e-3)


@pytest.mark.sample(5)
@pytest.mark.parametrize("crown", CROWNS)
@pytest.mark.parametrize("name", ["round", "rectangle", "slot", "outline"])
def test_every_crown_comes_back_with_its_volume_to_a_millionth(name: str, crown: str) -> None:
    """Rounded edges are approximated surfaces; they too must survive."""
    shape = solid(cap(SECTIONS[name], crown=CROWNS[crown]))
    (read,) = read_step(part_step(StepItem(name, shape, "#c03020"), DAY))
    assert read.volume == pytest.approx(kernel.volume(shape), rel=1e-6)
