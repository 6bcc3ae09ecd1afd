"""The mark in the kernel's solid, from the very outlines that the mesh got."""

from __future__ import annotations

from collections.abc import Sequence

from partgen.geometry import kernel

Loop = Sequence[tuple[float, float]]
BELOW = 0.05
"""How far below the face a cutting tool starts, so that it surely opens it, mm."""


def engraved(
    plain: kernel.Shape, outlines: Sequence[Sequence[Loop]], z: float, depth: float, subject: str
) -> kernel.Shape:
    """The solid with areas cut `depth` deep into its downward face at `z`.

    `outlines` holds, per area, its outer loop (counter-clockwise seen from above) and its holes.
    Raises KernelError about `subject`.
    """
    if not outlines:
        return plain
    with kernel.plainly(subject, "its mark cannot be cut"):
        tools = [
            kernel.prism_of(
                kernel.polygon_wire(loops[0], z - BELOW),
                depth + BELOW,
                [kernel.polygon_wire(hole, z - BELOW) for hole in loops[1:]],
            )
            for loops in outlines
        ]
        return kernel.one_solid(kernel.cut(plain, *tools))
