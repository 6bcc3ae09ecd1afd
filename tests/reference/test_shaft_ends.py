"""Sockets against published shaft ends, and the torque of a flat against integration.

Sizes: [SHAFT-SHEET] (6.0 mm, flat 4.5 mm across; knurled shaft with 18 teeth); IEC 60390 Amendment 1:1976,
figure 7, as scanned (4 mm with flats 3.0 or 3.2 apart, 6 mm with 4.8). Chords and areas of the segments were computed
independently of this project. Spacing of controls: MIL-STD-1472E, table VII (edge to edge, one hand).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from family_gallery import Combination, built, planned, profile

from partgen.design.part_models import SocketModel
from partgen.geometry.kernel import Arc
from partgen.shapes.seats import shape_of
from partgen.verify.triangles import slice_points

SHAFTS = [  # diameter, across, flats, chord of the flat, area of the section
    (6.0, 4.5, 1, 5.196152, 22.746670),
    (4.0, 3.2, 2, 2.400000, 11.258362),
    (6.0, 4.8, 2, 3.600000, 25.331314),
]


def polygon(socket: SocketModel) -> shapely.Polygon:
    """The pocket's outline; its arcs run counter-clockwise around the axis."""
    points, outline = [], shape_of(socket).outline()
    x, y = outline[-1].x, outline[-1].y
    for piece in outline:
        if isinstance(piece, Arc):
            start = math.atan2(y, x)
            swing = (math.atan2(piece.y, piece.x) - start) % (2 * math.pi)
            angles = start + swing * np.linspace(0.0, 1.0, 4000)[1:-1]
            points += list(zip(socket.width / 2 * np.cos(angles), socket.width / 2 * np.sin(angles), strict=True))
        x, y = piece.x, piece.y
        points.append((x, y))
    return shapely.Polygon(points)


@pytest.mark.parametrize(("diameter", "across", "flats", "chord", "area"), SHAFTS)
def test_the_pocket_of_a_flatted_shaft_is_the_published_section(diameter, across, flats, chord, area) -> None:
    socket = SocketModel("flatted", diameter, diameter, 8.0, 1.0, across_flat=across, flats=flats)
    found = polygon(socket)
    assert found.area == pytest.approx(area, rel=1e-5)
    edges = np.diff(np.asarray(found.exterior.coords), axis=0)
    assert np.hypot(*edges.T).max() == pytest.approx(chord, abs=1e-5)


@pytest.mark.parametrize(("diameter", "across", "flats"), [row[:3] for row in SHAFTS])
def test_a_knob_for_a_published_shaft_keeps_its_flat(diameter, across, flats) -> None:
    """Sliced half way up the socket, the built mesh has the shaft's pocket, wider by one clearance all round."""
    one = Combination("knob", "flatted", "glue")
    wanted = profile(one)
    seat = wanted.seat["end"].model_copy(
        update={
            "diameter": wanted.seat["end"].diameter.__class__((diameter,), (0.0,)),
            "across_flat": wanted.seat["end"].diameter.__class__((across,), (0.0,)),
            "flats": flats,
        }
    )
    plans, made, failed = built(wanted.model_copy(update={"seat": {"end": seat}}))
    assert not failed
    points = slice_points(made["P1"].cap.mesh, -plans[0].model.socket.length / 2).reshape(-1, 2)
    inside = points[np.hypot(*points.T) < diameter / 2 + 0.6]
    play = plans[0].model.socket.width - diameter
    assert 2 * np.hypot(*inside.T).max() == pytest.approx(diameter + play, abs=0.01)
    far = inside[:, 0].max() + (diameter + play) / 2 if flats == 1 else np.ptp(inside[:, 0])
    assert far == pytest.approx(across + play, abs=0.01)


@pytest.mark.parametrize(("teeth", "step"), [(18, 20.0), (24, 15.0)])
def test_serrations_let_a_line_point_beside_its_mark_by_half_their_pitch(teeth: int, step: float) -> None:
    """18 serrations: 20 degrees from one to the next."""
    wanted = profile(Combination("knob", "splined", "ribs"))
    seat = wanted.seat["end"].model_copy(update={"teeth": teeth})
    plan = planned(wanted.model_copy(update={"seat": {"end": seat}}))[0][0]
    (found,) = [f for f in plan.checks if f.code == "pointing"]
    assert found.value == pytest.approx(step / 2)
    assert f"every {step:.0f}°" in found.why


def test_the_torque_a_flat_carries_is_the_integral_of_its_pressure() -> None:
    """One flat of chord c turns with pressure p x / (c/2) on the half that bears: p L times the integral of
    x^2 / (c/2) from 0 to c/2, that is p L c^2 / 12."""
    plan = planned(profile(Combination("knob", "flatted", "glue")))[0][0]
    (found,) = [f for f in plan.checks if f.code == "torque"]
    socket = plan.model.socket
    away = socket.across_flat - socket.width / 2
    half = math.sqrt((socket.width / 2) ** 2 - away**2)
    x = (np.arange(100_000) + 0.5) / 100_000 * half
    from partgen.profile.library import find_material

    p = find_material("PLA").strength / 2
    flat = float((p * x / half * x).sum()) * half / 100_000 * socket.length
    assert found.value == pytest.approx(flat + plan.grip.pull_off[0] * 5.965 / 2, rel=1e-3)


@pytest.mark.parametrize(("apart", "told"), [(24.0, True), (26.0, False)])
def test_rotary_controls_nearer_than_the_handbook_keeps_them_are_named(apart: float, told: bool) -> None:
    """25 mm edge to edge between rotary controls."""
    from partgen.design.plan_set import plan_set
    from partgen.kinds import BY_KIND
    from partgen.metrology.estimate import estimate
    from partgen.profile.library import find_material, find_printer

    wanted = profile(Combination("knob", "flatted", "set-screw"))
    first, second, third = wanted.position
    moved = second.model_copy(update={"at": (18.0 + apart, 0.0)})
    wanted = wanted.model_copy(update={"position": (first, moved, third)})
    printer = find_printer("material-extrusion")
    planners = {kind: family.plan for kind, family in BY_KIND.items()}
    plan = plan_set(wanted, estimate(wanted, printer), printer, find_material, draws=500, planners=planners)
    assert any("MIL-STD-1472E" in note for note in plan.notes) is told
