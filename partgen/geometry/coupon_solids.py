"""The calibration coupon as solids: the gauge, and a ladder of sockets for one seat. Bed at z = 0; mm."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from partgen.core.errors import KernelError
from partgen.design.part_models import SocketModel
from partgen.geometry import kernel
from partgen.profile.coupon_features import BAR, BASE, FIN, STEP_SIZE, TALL, TONGUE_LENGTH, Feature
from partgen.shapes.seats import shape_of

FLOOR = 0.6
"""Under each socket of the ladder."""
GAP = 1.6
"""Between sockets of the ladder."""
STRIP = (2.0, 0.4)
"""Width and thickness of the strip that joins them: thin enough to break by hand."""
SLEEVE_WALL = 1.0
DIGIT = (2.4, 3.2, 0.7, 0.4)
"""Width, height, stroke and depth of a number."""

_SEGMENTS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
    "8": "abcdefg", "9": "abcdfg",
}  # fmt: skip
"""Strokes of each digit: a top, b and c right, d bottom, e and f left, g middle."""


def gauge(features: Sequence[Feature]) -> kernel.Shape:
    """Bores, pegs, fins, steps and tongue on one plate. Raises KernelError."""
    length, depth, height = BAR
    solid = [kernel.box(0, length, 0, depth, 0, height), kernel.box(0, BASE[0], 0, BASE[1], 0, BASE[2])]
    holes = []
    for feature in features:
        x, y = feature.at
        half = feature.nominal / 2
        if feature.kind == "hole":
            holes.append(_block(feature, x, y, -1.0, height + 1.0))
        elif feature.kind == "peg" and feature.name.startswith("peg"):
            solid.append(_block(feature, x, y, 0.0, TALL))
        elif feature.kind == "wall":
            solid.append(kernel.box(x - half, x + half, y - FIN / 2, y + FIN / 2, 0, TALL))
        elif feature.kind == "height":
            a, b = STEP_SIZE[0] / 2, STEP_SIZE[1] / 2
            solid.append(kernel.box(x - a, x + a, y - b, y + b, 0, feature.nominal))
        elif feature.kind == "flare":
            # a little into the bar, so that they join along a volume and not only a face
            solid.append(kernel.box(length - 1.0, length + TONGUE_LENGTH, y - half, y + half, 0, TALL))
    return _whole("coupon", lambda: kernel.cut(kernel.fuse(*solid), *holes))


def ladder(sockets: Sequence[SocketModel]) -> kernel.Shape:
    """Sleeves in a row on a strip, mouth up, numbered from 1 on the side towards the reader. Raises KernelError."""
    across, along = shape_of(max(sockets, key=lambda socket: socket.width)).reach(SLEEVE_WALL)
    pitch = 2 * across + GAP
    bodies = [kernel.box(0.0, (len(sockets) - 1) * pitch, -STRIP[0] / 2, STRIP[0] / 2, 0.0, STRIP[1])]
    holes, cores = [], []
    for i, socket in enumerate(sockets):
        pocket = shape_of(socket)
        x, top, lead = i * pitch, FLOOR + socket.length, min(socket.lead_in, 0.3)
        bodies.append(kernel.box(x - across, x + across, -along, along, 0.0, top))
        holes.append(_moved(kernel.prism(pocket.outline(), FLOOR, top + 1.0), x))
        holes.append(_moved(kernel.loft(pocket.outline(), top - lead, pocket.outline(lead + 0.01), top + 0.01), x))
        holes.extend(_number(str(i + 1), x, -along, (top - DIGIT[1]) / 2))
        if socket.core > 0:  # stands inside the pocket, so it joins after the pocket is cut
            cores.append(_moved(kernel.prism(kernel.Circle(socket.core / 2), 0.1, top), x))
    return _whole("fit ladder", lambda: kernel.fuse(kernel.cut(kernel.fuse(*bodies), *holes), *cores))


def _number(text: str, x: float, face: float, bottom: float) -> list[kernel.Shape]:
    """Strokes to cut into the face at y = `face`, read from the front, centred on x."""
    width, height, stroke, deep = DIGIT
    pitch = width + stroke + 0.3
    left = x - ((len(text) - 1) * pitch + width) / 2
    boxes = []
    for k, digit in enumerate(text):
        x0, x1, z0, z1 = left + k * pitch, left + k * pitch + width, bottom, bottom + height
        middle = (z0 + z1) / 2
        strokes = {
            "a": (x0, x1, z1 - stroke, z1),
            "b": (x1 - stroke, x1, middle, z1),
            "c": (x1 - stroke, x1, z0, middle),
            "d": (x0, x1, z0, z0 + stroke),
            "e": (x0, x0 + stroke, z0, middle),
            "f": (x0, x0 + stroke, middle, z1),
            "g": (x0, x1, middle - stroke / 2, middle + stroke / 2),
        }
        for segment in _SEGMENTS[digit]:
            a, b, c, d = strokes[segment]
            boxes.append(kernel.box(a, b, face - 1.0, face + deep, c, d))
    return boxes


def _moved(shape: kernel.Shape, x: float) -> kernel.Shape:
    matrix = np.eye(4)
    matrix[0, 3] = x
    return kernel.transformed(shape, matrix)


def _whole(what: str, make: Callable[[], kernel.Shape]) -> kernel.Shape:
    try:
        return kernel.one_solid(make())
    except kernel.Refused as error:
        raise KernelError(what, str(error)) from error


def _block(feature: Feature, x: float, y: float, bottom: float, top: float) -> kernel.Shape:
    half = feature.nominal / 2
    if "-round-" in feature.name:
        return kernel.prism(kernel.Circle(half, x, y), bottom, top)
    return kernel.box(x - half, x + half, y - half, y + half, bottom, top)
