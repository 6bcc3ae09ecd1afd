"""The socket that is built is the one that was planned: measured on the mesh, with the seat's own solid in it."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from design.grip.grip_cases import SEATS, Wish, plan, printer

from partgen.core.errors import KernelError
from partgen.design.part_models import CapModel, CrownModel, Section, SocketModel
from partgen.design.plan_records import GripPlan
from partgen.geometry import solids
from partgen.geometry.mesh_records import Mesh
from partgen.geometry.tessellate import tessellate
from partgen.verify.socket_grip import measure_grip

BORE_ERROR = printer().error.hole.value


def built(socket: SocketModel, width: float = 16.0) -> Mesh:
    """A plain square cap around a socket."""
    model = CapModel(
        section=Section("rectangle", width, width, 0.5),
        height=4.0,
        crown=CrownModel("flat", 0.0, 0.3),
        skirt_bottom=-socket.length,
        wall=1.2,
        flange=None,
        socket=socket,
    )
    return tessellate(solids.solid(model))


@cache
def case(seat: str, grip: str) -> tuple[GripPlan, SocketModel, Mesh]:
    made, socket, _ = plan(SEATS[seat], Wish(grip), printer(), wall_room=6.0)  # type: ignore[arg-type]
    return made, socket, built(socket)


@pytest.mark.sample(5)
@pytest.mark.parametrize("grip", ["ribs", "interference", "fingers"])
@pytest.mark.parametrize("seat", ["round", "rectangle", "flatted", "tongue"])
def test_interference_on_the_mesh_is_the_planned_one(seat: str, grip: str) -> None:
    """Seat and socket overlap by the middle interference, less what the printer takes off a bore."""
    made, socket, mesh = case(seat, grip)
    measured = measure_grip(socket, mesh, SEATS[seat])
    assert measured.interference == pytest.approx(sum(made.interference) / 2 + BORE_ERROR, abs=0.02)


@pytest.mark.parametrize("seat", ["rectangle", "round"])
def test_ribs_touch_where_the_plan_says(seat: str) -> None:
    """Volume that seat and ribs share, from the plan's rib alone: crest and ramp at each level, on each rib."""
    made, socket, mesh = case(seat, "ribs")
    rib = socket.ribs
    assert rib is not None and rib.levels == 2
    deep = (sum(made.interference) / 2 + BORE_ERROR) / 2
    across = rib.width * ((rib.length - rib.height) * deep + deep**2 / 2)
    expected = rib.count * rib.levels * across
    if seat == "round":  # the seat's side falls away from a flat crest: w² / 24 r on average
        deep -= rib.width**2 / 24 / 1.5025
        expected = rib.count * rib.levels * rib.width * ((rib.length - rib.height) * deep + deep**2 / 2)
    assert _shared_volume(seat, socket, mesh) == pytest.approx(expected, rel=0.02)


def test_fingers_have_room_on_the_mesh() -> None:
    """Behind each finger the solid leaves what it is bent at the tight end of tolerance."""
    made, socket, mesh = case("rectangle", "fingers")
    assert measure_grip(socket, mesh, SEATS["rectangle"]).finger_room >= made.interference[1] / 2


def test_a_ring_groove_has_its_size() -> None:
    """Cut across the groove's middle: its diameter and no other; above and below, the pocket's."""
    made, socket, _ = plan(SEATS["round"], Wish("ring"), printer(), wall_room=6.0, length=6.0)
    assert socket.groove is not None
    mesh = built(socket)
    radii = {z: _bore_radius(mesh, z) for z in (socket.groove.z, socket.groove.z + socket.groove.width, -0.4)}
    assert radii[socket.groove.z] == pytest.approx(socket.groove.diameter / 2, abs=0.01)
    for z in (socket.groove.z + socket.groove.width, -0.4):
        assert radii[z] == pytest.approx(socket.width / 2, abs=0.01)
    assert made.kind == "ring"


@pytest.mark.parametrize("width", [16.0, 24.0])
def test_a_set_screw_reaches_the_seat_through_solid_and_hollow_caps(width: float) -> None:
    """Along its axis there is air from the seat to outside; around it the thread's wall; the cap stays one closed body
    whose outside is where it was: the boss does not stand out of the skirt."""
    _, socket, _ = plan(SEATS["flatted"], Wish("set-screw"), printer("powder-bed-fusion"), wall_room=8.0)
    screw = socket.screw
    assert screw is not None
    mesh = built(socket, width)
    assert mesh.is_closed
    hollow = mesh.volume < 0.8 * width**2 * (4.0 + socket.length)
    assert hollow == (width > 20)
    assert np.abs(mesh.bounds[:, :2]).max() == pytest.approx(width / 2, abs=1e-6)
    inside = _inside(mesh)
    r = np.linspace(0.0, width / 2 + 1, 60)
    axis = np.array([math.cos(screw.direction), math.sin(screw.direction), 0.0])
    line = r[:, None] * axis + [0, 0, screw.z]
    assert not inside(line).any()
    middle = socket.width / 2 + screw.depth / 2
    wall = [middle * axis + [0, 0, screw.z + s * (screw.hole / 2 + screw.boss / 2) / 2] for s in (1, -1)]
    assert inside(np.array(wall)).all()


@pytest.mark.parametrize("grip", ["interference", "ribs", "fingers", "set-screw", "ring", "glue", "captive"])
def test_a_tubes_core_stays_whole_and_never_presses(grip: str) -> None:
    """One closed body whatever the grip; where there is a core it is smaller than the seat's bore."""
    _, socket, _ = plan(SEATS["tube"], Wish(grip), printer(), wall_room=6.0, length=6.0)  # type: ignore[arg-type]
    assert built(socket).is_closed
    assert socket.core + printer().error.peg.value < 3.0
    assert socket.core == 0.0 or grip != "fingers"


def test_a_groove_that_would_break_through_is_refused() -> None:
    """In words, instead of a cap with a slit."""
    _, socket, _ = plan(SEATS["round"], Wish("ring"), printer(), wall_room=6.0, length=6.0)
    with pytest.raises(KernelError, match="groove"):
        built(socket, 5.0)


def _shared_volume(seat: str, socket: SocketModel, mesh: Mesh) -> float:
    """mm³ that the part and the seat, pushed in up to the floor, have in common."""
    from manifold3d import CrossSection, Manifold
    from manifold3d import Mesh as KernelMesh

    outline = CrossSection.circle(1.5025, 512) if seat == "round" else CrossSection.square((3.29, 3.28), True)
    body = outline.extrude(socket.length).translate((0.0, 0.0, -socket.length))
    part = Manifold(KernelMesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32)))
    return float((part ^ body).volume())


def _bore_radius(mesh: Mesh, z: float) -> float:
    """Distance from the axis to the first surface along +X at height z."""
    import trimesh

    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    hits = body.ray.intersects_location([[0.0, 0.013, z]], [[1.0, 0.0, 0.0]])[0]
    return float(hits[:, 0].min())


def _inside(mesh: Mesh):
    import trimesh

    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).contains
