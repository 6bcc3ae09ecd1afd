"""What a plan takes for granted because nobody read it, and whether that decides anything. Lengths in mm. Pure.

Each of these has a cautious value until it is known; a set is not called proven while one is open that could change
whether it fits (ISO 14253-1: conformity is proven with all uncertainty counted, and what was never looked at is none).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from partgen.design.opening import ASSUMED_CORNER
from partgen.design.plan_records import PositionPlan
from partgen.metrology.correction import ZERO_UNREAD, zero_is_known
from partgen.metrology.rigid_offset import FEWEST
from partgen.metrology.wobble import USUAL, USUAL_LIMIT
from partgen.profile.panel_records import ASSUMED_OFFSET, HoleBase, RectangleHole, SeatBase
from partgen.profile.profile_record import Profile

WORN = 0.5
"""mm, the whole way: the wobble of a badly worn plunger; common practice, no source. Where it would still leave room,
nobody needs to read it."""
USUAL_BEVEL = 0.2
"""mm per side that a deburred or moulded mouth is often wider than the throat; common practice, no source."""
PRESSED = 0.15
"""mm that a depth rod may press a plunger in, or that a set-up moves in a session; common practice, no source."""
FEWEST_MOVING = 3
"""Drops; fewer are read before anything moves."""
ROUNDEST = 2.0
"""mm: corners of punched and milled holes are seldom rounder; common practice, no source."""


@dataclass(frozen=True)
class Assumption:
    """One quantity that was not read."""

    what: str
    """wobble, body, corner_radius, offset, bevel, travel, zero, depth, recheck or thickness."""
    label: str
    """Name of the seat or hole; "" for what belongs to the whole set."""
    text: str
    open: bool
    """Whether another value, as likely, could change that the set fits: then nothing is proven."""


def assumptions(
    profile: Profile, plans: Sequence[PositionPlan], served: Collection[str] = ()
) -> tuple[Assumption, ...]:
    """Everything that was not read and matters to any of these plans, what decides first.

    Parts at the labels in `served` were tried in their places and stay: of those nothing is open any more.
    """
    plans = [p for p in plans if p.label not in served]
    through = [p for p in plans if p.passage and p.seat]
    found = [
        *_of_calipers(profile, plans),
        *(one for name in dict.fromkeys(p.seat for p in through) for one in _of_seat(profile, name, through)),
        *(one for name in dict.fromkeys(p.hole for p in through) for one in _of_hole(profile, name, through)),
    ]
    if profile.panel.thickness_limit > 0:
        text = f"{profile.panel.thickness.mean:.2f} mm, give or take {profile.panel.thickness_limit:g} mm, is counted"
        found.append(Assumption("thickness", "", f"The panel's thickness was not read: {text}.", open=False))
    return tuple(sorted(found, key=lambda one: not one.open))


def _of_calipers(profile: Profile, plans: Sequence[PositionPlan]) -> Iterator[Assumption]:
    """Zero, depth rod, and whether anything moved: what all drops have in common."""
    deep = [p for p in plans if p.seat and not p.over]
    if not deep:
        return
    left = min(p.proud_tolerance - abs(p.proud - p.proud_wanted) - p.proud_u95 for p in deep)
    if not zero_is_known(profile.caliper):
        text = (
            "Nobody read what the calipers show with their jaws closed: 0.00 is taken. If it is "
            f"{ZERO_UNREAD:.2f} mm off, every part is too tall or too short by as much."
        )
        yield Assumption("zero", "", text, open=left < 4 * ZERO_UNREAD)
    if not _depth_is_checked(profile):
        text = (
            f"Nothing shows that the depth rod reads true: pressing a plunger in takes {PRESSED:.2f} mm. A depth of "
            "known size tells, or panel gaps with the seat's height above the board."
        )
        yield Assumption("depth", "", text, open=left < PRESSED)
    if not profile.recheck and sum(one.drop is not None for one in profile.position) >= FEWEST_MOVING:
        text = "No drop was read again at the end: that nothing moved meanwhile is taken for granted."
        yield Assumption("recheck", "", text, open=left < PRESSED)


def _depth_is_checked(profile: Profile) -> bool:
    """Whether another way to the same heights exists, which would show an error of the depth rod."""
    if any(one.jaws == "depth" for one in profile.caliper.reference):
        return True
    heights = any(seat.height is not None for seat in profile.seat.values())
    return bool(profile.panel.gap) and heights and profile.panel.thickness_limit <= 0


def _of_seat(profile: Profile, name: str, through: Sequence[PositionPlan]) -> Iterator[Assumption]:
    seat: SeatBase = profile.seat[name]
    mine = [p for p in through if p.seat == name]
    loose = [p for p in mine if p.grip.kind != "captive"]  # a captive part is guided by its hole
    own = {one.label for one in profile.position if one.wobble is not None}
    if seat.wobble is None and seat.play is None and (unread := [p for p in loose if p.label not in own]):
        left = min(p.clearance.rss for p in unread)
        text = (
            f"How far the {name}'s top wobbles was not read: {USUAL:.1f} ± {USUAL_LIMIT:.1f} mm, the whole way, is "
            "taken."
        )
        decides = left < (WORN - USUAL - USUAL_LIMIT) / 2
        text += f" A worn one moves {WORN:.1f} mm; then caps rub." if decides else " There is room for a worn one, too."
        yield Assumption("wobble", name, text, open=decides)
    if seat.body is None:
        struck = any(c.code == "flange-travel" and c.state != "pass" for p in mine for c in p.checks)
        text = (
            f"Where the body below the {name} begins was not read: {seat.length:.1f} mm below its top, where its free "
            "length ends, is taken, and sockets are no deeper than that allows."
        )
        yield Assumption("body", name, text, open=struck)
    if "travel" not in seat.model_fields_set:
        text = f"How far the {name} moves when pressed was not read: it is taken not to move."
        yield Assumption("travel", name, text, open=True)


def _of_hole(profile: Profile, name: str, through: Sequence[PositionPlan]) -> Iterator[Assumption]:
    hole: HoleBase = profile.hole[name]
    mine = [p for p in through if p.hole == name]
    left = min(p.clearance.rss for p in mine)
    own = {one.label for one in profile.position if one.offset is not None or one.offset_limit is not None}
    told = len([one for one in profile.position if one.offset is not None]) >= FEWEST  # then the others are known, too
    if hole.offset_limit is None and not told and any(p.label not in own for p in mine):
        text = (
            f"How far the {name} holes sit off their plungers was not read: up to {ASSUMED_OFFSET:.2f} mm is counted."
        )
        yield Assumption("offset", name, text, open=left < ASSUMED_OFFSET / 2)
    if hole.bevel is None:
        text = (
            f"Whether the {name} holes are narrower farther in was not read: they are taken to be as wide all through "
            f"as where they were read. A mouth is often {USUAL_BEVEL:.1f} mm a side wider than the throat."
        )
        yield Assumption("bevel", name, text, open=left < USUAL_BEVEL)
    cornered = [p for p in mine if p.section.shape == "rectangle"]
    if isinstance(hole, RectangleHole) and hole.corner_radius is None and cornered:
        sharp = min(p.section.corner_radius for p in cornered) < ASSUMED_CORNER - 1e-6
        # across a corner a part of radius r clears a hole's radius R by c sqrt 2 - (R - r)(sqrt 2 - 1)
        tight = any(
            2**0.5 * p.clearance.nominal - (2**0.5 - 1) * (ROUNDEST - p.section.corner_radius) < 0 for p in cornered
        )
        text = f"The corner radius of the {name} holes was not read: {ASSUMED_CORNER:.1f} mm is taken, for parts too."
        yield Assumption("corner_radius", name, text, open=sharp or tight)
