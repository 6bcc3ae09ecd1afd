"""The socket on the mesh against the seat's solid: interference of every seat shape, and finger room."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold

from partgen.design.part_models import FingersModel, RibsModel, SocketModel
from partgen.profile.fields import Reading
from partgen.profile.panel_records import (
    CrossSeat,
    FlattedSeat,
    RectangleSeat,
    RoundSeat,
    SplinedSeat,
    TongueSeat,
    TubeSeat,
)
from partgen.verify.socket_grip import AGREE, grip_findings, measure_grip, seat_depth
from tests.verify.shapes import MODEL, cap, plan_for, shape


def r(value):
    return Reading((value,), (0.0,))


SQUARE = RectangleSeat(shape="rectangle", length=4.0, width=r(3.3), depth=r(3.3))
ROUND = RoundSeat(shape="round", length=4.0, diameter=r(4.0))


def sleeve(inner: CrossSection, length=4.0, outer=6.0):
    """A block with a pocket of any section, its floor at z = 0."""
    block = Manifold.cube((2 * outer, 2 * outer, length + 2), center=True).translate((0, 0, 1 - length / 2))
    return shape(block - inner.extrude(length + 1).translate((0, 0, -length - 1)))


def socket(kind="rectangle", length=4.0, **more):
    return SocketModel(kind, 3.6, 3.6, length, 0.8, **more)


def test_ribs_interference_is_seat_less_opening():
    """Pocket 3.6, ribs 0.2: an opening of 3.2 on a seat of 3.3 presses by 0.1."""
    found = measure_grip(MODEL.socket, shape(cap(MODEL)), SQUARE)
    assert found.interference == pytest.approx(0.1, abs=1e-9)
    assert found.finger_room == math.inf


def test_the_common_volume_with_the_seats_solid_agrees():
    """manifold3d's Boolean: ribs of known face, pressed in by 0.05 each."""
    part, seat = cap(MODEL), Manifold.cube((3.3, 3.3, 3.8), center=True).translate((0, 0, -1.9))
    depth = measure_grip(MODEL.socket, shape(part), SQUARE).interference / 2
    ribs = MODEL.socket.ribs
    assert (part ^ seat).volume() == pytest.approx(ribs.count * ribs.width * MODEL.socket.length * depth, rel=1e-4)


@pytest.mark.parametrize("play", [-0.12, 0.0, 0.2])
@pytest.mark.parametrize(
    ("seat", "pocket"),
    [
        (ROUND, lambda p: CrossSection.circle(2.0 + p / 2, 720)),
        (SQUARE, lambda p: CrossSection.square((3.3 + p, 3.3 + p), center=True)),
        (
            TongueSeat(shape="tongue", length=4.0, width=r(5.0), depth=r(1.5)),
            lambda p: CrossSection.square((5.0 + p, 1.5 + p), center=True),
        ),
        (
            CrossSeat(shape="cross", length=4.0, width=r(5.0), depth=r(5.5), arm=r(1.6)),
            lambda p: (
                CrossSection.square((5.0 + p, 1.6 + p), center=True)
                + CrossSection.square((1.6 + p, 5.5 + p), center=True)
            ),
        ),
        (
            FlattedSeat(shape="flatted", length=4.0, diameter=r(6.0), across_flat=r(4.5), flat_direction=90.0),
            lambda p: (
                CrossSection.circle(3.0 + p / 2, 720)
                ^ CrossSection.square((20, 20), center=True).translate((0, 1.5 + p / 2 - 10))
            ),
        ),
    ],
    ids=["round", "square", "tongue", "cross", "flatted"],
)
def test_play_and_interference_of_every_shape_are_found(seat, pocket, play):
    found = measure_grip(socket(), sleeve(pocket(play)), seat)
    assert found.interference == pytest.approx(-play, abs=1e-3)  # facets of the round ones


def test_a_tubes_core_does_not_count_as_its_wall():
    seat = TubeSeat(shape="tube", length=4.0, diameter=r(5.0), bore=r(3.0))
    ring = CrossSection.circle(2.55, 720) - CrossSection.circle(1.2, 360)
    assert measure_grip(socket("tube", core=2.4), sleeve(ring), seat).interference == pytest.approx(-0.1, abs=1e-3)


def test_depths_inside_a_splined_and_a_flatted_shaft():
    splined = SplinedSeat(shape="splined", length=4.0, diameter=r(6.0), teeth=18, root_diameter=r(5.4))
    tip, root = math.pi / 18, 0.0
    points = np.array([[3.0, 0.0], [2.7 * math.cos(tip), 2.7 * math.sin(tip)], [3.2, 0.0], [2.0, root]])
    depth = seat_depth(splined, points)
    assert depth[:2] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert depth[2] < 0 < depth[3]
    two = FlattedSeat(shape="flatted", length=4.0, diameter=r(6.0), across_flat=r(5.0), flats=2)
    assert seat_depth(two, np.array([[2.4, 0.0], [-2.4, 0.0], [0.0, 2.9]])) == pytest.approx([0.1, 0.1, 0.1])


def test_a_short_rib_is_not_missed_between_slices():
    short = Manifold.cube((0.6, 0.8, 0.3)).translate((-0.3, 1.4, -2.1))  # 0.4 into the pocket, 0.3 tall
    model = replace(MODEL, socket=replace(MODEL.socket, ribs=None))
    found = measure_grip(model.socket, shape(cap(model) + short), SQUARE)
    assert found.interference == pytest.approx(2 * (1.65 - 1.4))
    assert -2.1 <= found.level <= -1.8


def test_room_behind_fingers_is_measured():
    """A sleeve of 0.8 with 0.5 of room to the skirt; slots cut along the diagonals."""
    fingers = FingersModel(4, 3.0, 0.6, 0.8, 0.2)
    ring = CrossSection.circle(2.8, 360) - CrossSection.circle(2.0, 360)
    skirt = CrossSection.square((9.0, 9.0), center=True) - CrossSection.circle(3.3, 360)
    solid = (ring + skirt).extrude(4.0).translate((0, 0, -4.0)) + Manifold.cube((9, 9, 2), center=True).translate(
        (0, 0, 1)
    )
    solid = solid - Manifold.cube((12, 0.6, 3), center=True).translate((0, 0, -2.6)).rotate((0, 0, 45))
    found = measure_grip(socket("round", fingers=fingers), shape(solid), ROUND)
    assert found.finger_room == pytest.approx(0.5, abs=0.005)


def test_the_plans_interference_must_be_found_again():
    """Planned 0.1 to 0.2 as printed, bores print 0.05 small: drawn 0.1 it must be."""
    found = measure_grip(MODEL.socket, shape(cap(MODEL)), SQUARE)
    plan = plan_for()
    assert [f.state for f in grip_findings(plan, found, -0.05)] == ["pass"]
    assert [f.state for f in grip_findings(plan, found, 0.0)] == ["fail"]
    assert abs(0.05) > AGREE
    wrong = replace(MODEL, socket=replace(MODEL.socket, ribs=RibsModel(4, 0.23, 0.6)))
    assert grip_findings(plan, measure_grip(wrong.socket, shape(cap(wrong)), SQUARE), -0.05)[0].state == "fail"
    loose = replace(plan, grip=replace(plan.grip, kind="captive"))
    assert grip_findings(loose, found, 0.0) == ()


def test_too_little_room_behind_fingers_fails():
    fingers = FingersModel(4, 3.0, 0.6, 0.8, 0.2)
    plan = plan_for(replace(MODEL, socket=replace(MODEL.socket, fingers=fingers)))
    plan = replace(plan, grip=replace(plan.grip, kind="fingers", interference=(0.1, 0.5)))
    found = replace(measure_grip(MODEL.socket, shape(cap(MODEL)), SQUARE), interference=0.3, finger_room=0.2)
    states = {f.code: f.state for f in grip_findings(plan, found, 0.0)}
    assert states == {"mesh-grip": "pass", "mesh-fingers": "fail"}


def test_no_socket_at_all_fails_instead_of_raising():
    found = measure_grip(MODEL.socket, shape(Manifold.cube((5, 5, 5)).translate((0, 0, 20))), SQUARE)
    assert grip_findings(plan_for(), found, 0.0)[0].state == "fail"
