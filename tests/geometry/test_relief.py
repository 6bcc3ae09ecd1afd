"""The chamfer at the bed: on every corner that a hole may have, as large as asked for and no hole in the surface."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from cap_models import CROWNS, RECTANGLE, ROUND, SLOT, assert_whole, cap

from partgen.design.part_models import Section
from partgen.geometry import kernel
from partgen.geometry.outlines import outline_of, vertices
from partgen.geometry.relief import relieved
from partgen.geometry.solids import solid
from partgen.geometry.tessellate import tessellate

SIZE = 0.25


def cut_at(section: Section, z: float) -> shapely.Polygon:
    """A relieved prism of the section from z = 0 to 3, sliced at z on its mesh."""
    mesh = tessellate(kernel.one_solid(relieved(kernel.prism(outline_of(section), 0.0, 3.0), 0.0, SIZE)))
    assert_whole(mesh)
    flat, _ = (
        trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
        .section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
        .to_2D(to_2D=np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, -z], [0, 0, 0, 1.0]]))
    )
    return flat.polygons_full[0]


@pytest.mark.sample(4)
@pytest.mark.parametrize("radius", [0.0, 0.05, 0.1, 0.2, 0.24, 0.25, 0.26, 0.27, 0.3, 0.5, 1.0])
def test_the_bed_s_outline_is_as_much_smaller_as_was_asked_at_corners_too(radius):
    """Held against plane offsets of the outline (a general geometry library)."""
    section = replace(RECTANGLE, corner_radius=radius)
    whole = shapely.Polygon(vertices(section, 0.001))
    for z in (0.01, SIZE / 2, SIZE - 0.01):
        part, inwards = cut_at(section, z), SIZE - z
        x0, y0, x1, y1 = part.bounds
        assert (x1 - x0, y1 - y0) == pytest.approx((section.width - 2 * inwards, section.depth - 2 * inwards), abs=1e-6)
        assert whole.buffer(2e-3).contains(part)
    bed = cut_at(section, 0.005)
    assert whole.buffer(-SIZE + 0.015, join_style="mitre").contains(bed)
    above = cut_at(section, SIZE + 0.05)
    assert above.symmetric_difference(whole).area < 0.02


@pytest.mark.parametrize("section", [ROUND, SLOT, Section("rectangle", 6.0, 6.0, 2.9)], ids=["round", "slot", "soft"])
def test_round_ends_are_chamfered_as_ever(section):
    whole = shapely.Polygon(vertices(section, 0.001))
    part = cut_at(section, 0.1)
    assert part.symmetric_difference(whole.buffer(-SIZE + 0.1)).area < 0.02 * part.area


@pytest.mark.sample(5)
@pytest.mark.parametrize("collar", [True, False])
@pytest.mark.parametrize("radius", [0.1, 0.2, 0.3, 0.31, 0.5])
@pytest.mark.parametrize("crown", ["flat", "domed"])
def test_a_calibrated_printer_s_flare_never_keeps_a_cap_from_being_built(crown, radius, collar):
    """A flare of 0.3 mm and corners of 0.3 mm: once no cap at all came of that."""
    made = solid(cap(replace(RECTANGLE, corner_radius=radius), collar=collar, crown=CROWNS[crown]))
    assert_whole(tessellate(made))
