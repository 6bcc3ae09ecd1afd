"""Seat shapes: what a part mounts on, seen along its axis; one class each. Lengths in mm, angles in radians.

A shape knows its outline (and so the pocket that takes it, which is the same with every wall moved outwards), the boss
around that, where crush ribs and slots go, and how wide what grips it is. `SEATS` is the register.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Protocol, Self

from partgen.shapes.curves import Arc, Circle, Line, Outline, rectangle

Rib = tuple[float, float, float]
"""(direction, distance, aside): on the wall at `distance` from the axis towards `direction`, `aside` mm along that wall
to its left."""
LEAST_RADIUS = 0.02
"""A rounded corner stays one, however far its walls are moved inwards, mm."""


class Sizes(Protocol):
    """What a shape is made from; sizes that another shape has are 0. A socket as drawn is one."""

    @property
    def shape(self) -> str: ...
    @property
    def width(self) -> float: ...
    @property
    def depth(self) -> float: ...
    @property
    def corner_radius(self) -> float: ...
    @property
    def across_flat(self) -> float: ...
    @property
    def flats(self) -> int: ...
    @property
    def flat_direction(self) -> float: ...
    @property
    def arm(self) -> float: ...
    @property
    def teeth(self) -> int: ...
    @property
    def root_diameter(self) -> float: ...


@dataclass(frozen=True)
class SeatShape(ABC):
    """`width` along X, `depth` along Y; both are the diameter of a round one."""

    width: float
    depth: float
    is_round = False

    @classmethod
    def of(cls, sizes: Sizes) -> Self:
        """From sizes with those names."""
        return cls(sizes.width, sizes.depth)

    @abstractmethod
    def outline(self, grow: float = 0.0) -> Outline:
        """With every wall moved outwards by `grow` (inwards when negative), in as many pieces."""

    @abstractmethod
    def boss(self, wall: float) -> Outline:
        """Of a boss that leaves at least `wall` around it."""

    @abstractmethod
    def rib_places(self, count: int) -> list[Rib]:
        """Where so many crush ribs stand on the pocket's walls."""

    @abstractmethod
    def slot_directions(self, count: int) -> list[float]:
        """Of the slots between so many split fingers."""

    @property
    @abstractmethod
    def grip_width(self) -> float:
        """Diameter of the cylinder of the same perimeter as the gripped faces."""

    def reach(self, wall: float) -> tuple[float, float]:
        """Half extents along X and Y of the boss with that wall."""
        return self.width / 2 + wall, self.depth / 2 + wall


@dataclass(frozen=True)
class Round(SeatShape):
    """A round shaft."""

    is_round = True

    def outline(self, grow: float = 0.0) -> Outline:
        return Circle(self.width / 2 + grow)

    def boss(self, wall: float) -> Outline:
        return Circle(self.width / 2 + wall)

    def rib_places(self, count: int) -> list[Rib]:
        return [(angle, self.width / 2, 0.0) for angle in self._directions(count)]

    def _directions(self, count: int) -> list[float]:
        return [2 * math.pi * k / max(count, 1) for k in range(count)]

    def slot_directions(self, count: int) -> list[float]:
        return [2 * math.pi * (k + 0.5) / count for k in range(count)]

    @property
    def grip_width(self) -> float:
        return self.width


@dataclass(frozen=True)
class Tube(Round):
    """A round shaft with a bore; what stands in that is a matter of its own."""


@dataclass(frozen=True)
class Flatted(Round):
    """A round shaft with one flat facing `direction`, or with a second one opposite."""

    across_flat: float = 0.0
    """From the flat to the far side of the circle; with two flats, from flat to flat."""
    flats: int = 1
    direction: float = 0.0

    @classmethod
    def of(cls, sizes: Sizes) -> Self:
        return cls(sizes.width, sizes.depth, sizes.across_flat, sizes.flats, sizes.flat_direction)

    def _distance(self, grow: float) -> float:
        """From the axis to a flat."""
        return (self.across_flat - self.width / 2 if self.flats == 1 else self.across_flat / 2) + grow

    def outline(self, grow: float = 0.0) -> Outline:
        radius = self.width / 2 + grow
        if not self.flats:
            return Circle(radius)
        half = math.acos(min(0.999, max(-0.999, self._distance(grow) / radius)))

        def at(angle: float) -> tuple[float, float]:
            return radius * math.cos(self.direction + angle), radius * math.sin(self.direction + angle)

        if self.flats == 1:
            return (Line(*at(half)), Arc(*at(math.pi), *at(2 * math.pi - half)))
        first = (Line(*at(half)), Arc(*at(math.pi / 2), *at(math.pi - half)))
        return (*first, Line(*at(math.pi + half)), Arc(*at(1.5 * math.pi), *at(2 * math.pi - half)))

    def _directions(self, count: int) -> list[float]:
        """Clear of the flats, evenly on what is round."""
        if not self.flats:
            return super()._directions(count)
        half = math.acos(min(1.0, max(-1.0, 2 * self._distance(0.0) / self.width)))
        if self.flats == 1:
            step = (2 * math.pi - 2 * half) / max(count, 1)
            return [self.direction + half + step * (k + 0.5) for k in range(count)]
        arc, near = math.pi - 2 * half, (count + 1) // 2
        far = count - near
        first = [self.direction + half + arc * (k + 0.5) / near for k in range(near)]
        return first + [self.direction + math.pi + half + arc * (k + 0.5) / far for k in range(far)]


@dataclass(frozen=True)
class Splined(Round):
    """Pointed teeth between two circles; the first tip lies on +X."""

    teeth: int = 0
    root_diameter: float = 0.0

    @classmethod
    def of(cls, sizes: Sizes) -> Self:
        return cls(sizes.width, sizes.depth, sizes.teeth, sizes.root_diameter)

    def outline(self, grow: float = 0.0) -> Outline:
        tip, root = self.width / 2 + grow, self.root_diameter / 2 + grow
        if not self.teeth:
            return Circle(tip)
        turns = [(tip if k % 2 == 0 else root, math.pi * k / self.teeth) for k in range(2 * self.teeth)]
        return tuple(Line(r * math.cos(angle), r * math.sin(angle)) for r, angle in turns)

    def _directions(self, count: int) -> list[float]:
        """In a tooth gap, not across a tooth."""
        even = super()._directions(count)
        pitch = 2 * math.pi / self.teeth if self.teeth else 0.0
        return [round(angle / pitch) * pitch for angle in even] if pitch else even


@dataclass(frozen=True)
class Rectangle(SeatShape):
    """A plunger with flat sides."""

    corner_radius: float = 0.0

    @classmethod
    def of(cls, sizes: Sizes) -> Self:
        return cls(sizes.width, sizes.depth, sizes.corner_radius)

    def outline(self, grow: float = 0.0) -> Outline:
        radius = max(self.corner_radius + grow, LEAST_RADIUS) if self.corner_radius > 0 else 0.0
        return rectangle(self.width + 2 * grow, self.depth + 2 * grow, radius)

    def boss(self, wall: float) -> Outline:
        radius = min(self.corner_radius + wall, 0.5 * wall + 0.5)
        return rectangle(self.width + 2 * wall, self.depth + 2 * wall, radius)

    def _along(self, side: float) -> float:
        """How much of a side, so long, ribs may stand on."""
        return side

    def rib_places(self, count: int) -> list[Rib]:
        sides = [(0.0, self.width, self.depth), (math.pi, self.width, self.depth)]
        sides += [(math.pi / 2, self.depth, self.width), (1.5 * math.pi, self.depth, self.width)]
        places = []
        for i, (direction, across, along) in enumerate(sides):
            here = count // 4 + (1 if i < count % 4 else 0)
            room = self._along(along)
            places += [(direction, across / 2, room * ((k + 0.5) / here - 0.5)) for k in range(here)]
        return places

    def slot_directions(self, count: int) -> list[float]:
        if count == 4:
            corner = math.atan2(self.depth, self.width)
            return [corner, math.pi - corner, math.pi + corner, -corner]
        if count == 2:  # the fingers are the two long sides
            return [0.0, math.pi] if self.width >= self.depth else [math.pi / 2, -math.pi / 2]
        return [2 * math.pi * k / count for k in range(count)]

    @property
    def grip_width(self) -> float:
        return 2 * (self.width + self.depth) / math.pi


@dataclass(frozen=True)
class Tongue(Rectangle):
    """A flat lever."""


@dataclass(frozen=True)
class Cross(Rectangle):
    """A plus-shaped stem: two bars of thickness `arm`."""

    arm: float = 0.0

    @classmethod
    def of(cls, sizes: Sizes) -> Self:
        return cls(sizes.width, sizes.depth, sizes.corner_radius, sizes.arm)

    def outline(self, grow: float = 0.0) -> Outline:
        a, b, t = self.width / 2 + grow, self.depth / 2 + grow, self.arm / 2 + grow
        right = [(a, -t), (a, t), (t, t), (t, b)]
        left = [(-t, b), (-t, t), (-a, t), (-a, -t)]
        below = [(-t, -t), (-t, -b), (t, -b), (t, -t)]
        return tuple(Line(x, y) for x, y in right + left + below)

    def _along(self, side: float) -> float:
        return self.arm


SEATS: dict[str, type[SeatShape]] = {
    "round": Round,
    "rectangle": Rectangle,
    "flatted": Flatted,
    "splined": Splined,
    "tongue": Tongue,
    "cross": Cross,
    "tube": Tube,
}
"""By the name in profiles."""


def shape_of(sizes: Sizes) -> SeatShape:
    """The shape of that name with those sizes."""
    return SEATS[sizes.shape].of(sizes)
