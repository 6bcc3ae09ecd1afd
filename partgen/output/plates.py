"""Parts side by side on the printer's bed, plate by plate. Pure; lengths in mm.

Every part is taken by its bounding rectangle on the bed and never turned: how it lies was decided
before. Rectangles go on shelves, deepest first (first fit decreasing height; Coffman, Garey, Johnson
and Tarjan, SIAM J. Comput. 9 (1980) 808-826: never above 1.7 times the least height plus one shelf),
which for caps of nearly one size is close to the best there is. One plate holds one material and one
colour, so that nobody changes filament within a print.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from partgen.profile.printer_records import Printer

Matrix = tuple[float, ...]
"""(16,) row-major 4 x 4."""

SPACING = 3.0
"""Least distance between two parts, and to the bed's edge: room for a blade and a brim (common practice, no source)."""
_CLOSE = 1e-9


@dataclass(frozen=True)
class Wanted:
    """One part to place, in as many copies as are wanted."""

    label: str
    size: tuple[float, float, float]
    """As it lies: along the bed's X and Y, and up."""
    matrix: Matrix
    """Model frame to the bed, the lying part's lower left corner at (0, 0), its lowest point at 0."""
    colour: str
    material: str
    copies: int = 1


@dataclass(frozen=True)
class PlateItem:
    """One copy of one part on a plate."""

    label: str
    copy: int
    """1 is the part itself, 2 and up are spares."""
    matrix: Matrix
    """Model frame to the plate: X to the right, Y away, Z up from the bed, origin at its front left corner."""
    colour: str
    at: tuple[float, float]
    """Lower left corner of its bounding rectangle on the plate."""
    size: tuple[float, float, float]


@dataclass(frozen=True)
class Plate:
    """One print."""

    items: tuple[PlateItem, ...]
    material: str
    colour: str
    bed: tuple[float, float]
    spacing: float

    @property
    def height(self) -> float:
        """Of the tallest item."""
        return max(item.size[2] for item in self.items)

    @property
    def use(self) -> float:
        """Share of the bed that the items' rectangles, each with its spacing, take."""
        return sum(_taken(item.size, self.spacing) for item in self.items) / _room(self.bed, self.spacing)


@dataclass(frozen=True)
class Packing:
    """All plates, and the labels of what is larger than the printer."""

    plates: tuple[Plate, ...]
    left_out: tuple[str, ...]


@dataclass
class _Shelf:
    y: float
    depth: float
    used: float


def pack(wanted: Sequence[Wanted], printer: Printer, spacing: float = SPACING) -> Packing:
    """Place every copy of every part. No two rectangles come closer than `spacing`; all lie inside the bed."""
    wide, deep, tall = printer.build_volume
    fits: list[Wanted] = []
    left_out: list[Wanted] = []
    for part in wanted:
        x, y, z = part.size
        inside = x + 2 * spacing <= wide + _CLOSE and y + 2 * spacing <= deep + _CLOSE and z <= tall + _CLOSE
        (fits if inside else left_out).append(part)
    groups: dict[tuple[str, str], list[tuple[Wanted, int]]] = {}
    for part in fits:
        group = groups.setdefault((part.material, part.colour), [])
        group.extend((part, copy) for copy in range(1, part.copies + 1))
    plates = [
        Plate(items, material, colour, (wide, deep), spacing)
        for (material, colour), group in groups.items()
        for items in _fill(group, (wide, deep), spacing)
    ]
    return Packing(tuple(plates), tuple(part.label for part in left_out))


def plates_needed(
    sizes: Iterable[tuple[float, float, float]], bed: tuple[float, float], spacing: float = SPACING
) -> int:
    """No packing of these rectangles, with their spacing, needs fewer plates (area bound)."""
    return math.ceil(sum(_taken(size, spacing) for size in sizes) / _room(bed, spacing) - 1e-12)


def _taken(size: tuple[float, float, float], spacing: float) -> float:
    return (size[0] + spacing) * (size[1] + spacing)


def _room(bed: tuple[float, float], spacing: float) -> float:
    return (bed[0] - spacing) * (bed[1] - spacing)


def _fill(group: list[tuple[Wanted, int]], bed: tuple[float, float], spacing: float) -> list[tuple[PlateItem, ...]]:
    """Items per plate. A group that fits on one plate is laid out about as wide as deep, in the middle."""
    area = sum(_taken(part.size, spacing) for part, _ in group)
    widest = max(part.size[0] for part, _ in group) + 2 * spacing
    width = max(widest, 1.05 * math.sqrt(area) + spacing)
    while width < bed[0]:
        block = _shelves(group, (width, bed[1]), spacing)
        if len(block) == 1:
            return [_centred(block[0], bed)]
        width *= 1.15
    return [_centred(items, bed) for items in _shelves(group, bed, spacing)]


def _shelves(group: list[tuple[Wanted, int]], room: tuple[float, float], spacing: float) -> list[list[PlateItem]]:
    """First fit, deepest first, shelf by shelf, plate by plate."""
    plates: list[tuple[list[_Shelf], list[PlateItem]]] = []
    # Equal depths keep the order of the panel, so that a plate reads like it.
    for part, copy in sorted(group, key=lambda one: -round(one[0].size[1], 6)):
        place = _find(plates, part.size, room, spacing)
        if place is None:
            plates.append(([], []))
            place = _new_shelf(plates[-1], part.size, room, spacing)
            assert place is not None  # every part fits an empty plate
        items, x, y = place
        items.append(PlateItem(part.label, copy, _moved(part.matrix, x, y), part.colour, (x, y), part.size))
    return [items for _, items in plates]


def _find(
    plates: list[tuple[list[_Shelf], list[PlateItem]]],
    size: tuple[float, float, float],
    room: tuple[float, float],
    spacing: float,
) -> tuple[list[PlateItem], float, float] | None:
    """The first shelf with room, else a new shelf on the first plate that takes one."""
    for shelves, items in plates:
        for shelf in shelves:
            x = shelf.used + spacing
            if size[1] <= shelf.depth + _CLOSE and x + size[0] + spacing <= room[0] + _CLOSE:
                shelf.used = x + size[0]
                return items, x, shelf.y
        if place := _new_shelf((shelves, items), size, room, spacing):
            return place
    return None


def _new_shelf(
    plate: tuple[list[_Shelf], list[PlateItem]],
    size: tuple[float, float, float],
    room: tuple[float, float],
    spacing: float,
) -> tuple[list[PlateItem], float, float] | None:
    shelves, items = plate
    y = (shelves[-1].y + shelves[-1].depth if shelves else 0.0) + spacing
    if y + size[1] + spacing > room[1] + _CLOSE:
        return None
    shelves.append(_Shelf(y, size[1], spacing + size[0]))
    return items, spacing, y


def _centred(items: list[PlateItem], bed: tuple[float, float]) -> tuple[PlateItem, ...]:
    """The block of items moved to the middle of the bed, where it is most even."""
    right = max(item.at[0] + item.size[0] for item in items)
    back = max(item.at[1] + item.size[1] for item in items)
    left, front = min(item.at[0] for item in items), min(item.at[1] for item in items)
    dx, dy = (bed[0] - left - right) / 2, (bed[1] - front - back) / 2
    return tuple(
        PlateItem(
            item.label,
            item.copy,
            _moved(item.matrix, dx, dy),
            item.colour,
            (item.at[0] + dx, item.at[1] + dy),
            item.size,
        )
        for item in items
    )


def _moved(matrix: Matrix, x: float, y: float) -> Matrix:
    """The transform followed by a shift on the bed."""
    return (*matrix[:3], matrix[3] + x, *matrix[4:7], matrix[7] + y, *matrix[8:])
