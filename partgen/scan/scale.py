"""Pixels to millimetres: the resolution tag, set right by calipers distances.

A scanner's own errors are a stretch along each of its axes and a small lean of one against the other.
They are estimated with the tag as prior knowledge and each distance as one observation; the calipers'
limit of error is common to all of them (JCGM 100:2008, F.1.2.3).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from partgen.core.errors import Fault, InputError
from partgen.core.units import Unit, parse_length
from partgen.metrology.estimate_records import Doubt, FloatArray
from partgen.profile.panel_records import Caliper
from partgen.scan.hole_shapes import extent
from partgen.scan.scan_records import Distance, Scale, Shape

STRETCH_U = 0.005
"""Standard uncertainty of the tag along either axis (common practice, no source)."""
RIM_U = 0.01
"""mm: how far the visible rim may lie from the wall a part meets, burr and rounding (common practice, no source)."""
LEAN_U = 0.0003
"""Standard uncertainty, in radians, of the right angle between the axes (common practice, no source)."""
TAG_LIMIT = 0.03
"""A tag further off than this is not stretched but wrong."""

_WORDS = {"centres": "centres", "centers": "centres", "outside": "outside", "inside": "inside"}


def parse_distance(text: str, unit: Unit = "mm") -> Distance:
    """ "A1 A6 95.0 mm", with repeats "A1 A6 95.02 95.04", and "outside" or "inside" at the end.

    Raises InputError.
    """
    words = re.sub(r"(?<=\d)\s+(mm|in|inch)\b", r"\1", text.replace(",", " ")).split()
    how: str = "centres"
    if words and words[-1].lower() in _WORDS:
        how = _WORDS[words.pop().lower()]
    try:
        a, b, *numbers = words
        lengths = tuple(parse_length(n if re.search(r"[a-z\"]", n) else float(n), unit).mm for n in numbers)
    except ValueError:
        lengths = ()
    if not lengths or min(lengths) <= 0 or a == b:
        raise InputError(
            Fault("distance", f'"{text}"', 'two openings and a distance: "A1 A6 95.0 mm" or "A1 A6 104.5 outside"')
        )
    return Distance(a, b, lengths, how)  # type: ignore[arg-type]


def tagged(dpi: tuple[float, float]) -> Scale:
    """The scale as the file says it, with nothing to prove it."""
    return Scale(dpi, (0.0, 0.0, 0.0), np.diag([STRETCH_U, STRETCH_U, LEAN_U]) ** 2, (0, 0), (), ())


def of_sheet(dpi: tuple[float, float], stretch_u: float, *, checked: bool) -> Scale:
    """The scale that a marker sheet gives: `stretch_u` is common to both ways, as a sheet is stretched as a whole."""
    one = stretch_u**2
    cov = np.array([[one, one, 0.0], [one, one, 0.0], [0.0, 0.0, 0.0]])
    return Scale(dpi, (0.0, 0.0, 0.0), cov, (0, 0), (), (), checked)


def estimate(
    dpi: tuple[float, float], shapes: Mapping[str, Shape], u_centre: Mapping[str, float],
    distances: Sequence[Distance], caliper: Caliper, known: Scale | None = None,
) -> Scale:  # fmt: skip
    """The scale from the tag and `distances` between `shapes`, which lie on the table at the tag's scale.

    `known`: what a marker sheet says, in place of what is assumed of a scanner's tag.

    `u_centre`: standard uncertainty of each centre along a line, mm. Raises InputError where a
    distance names an opening that was not found.
    """
    known = known or tagged(dpi)
    if not distances:
        return known
    for d in distances:
        for label in (d.a, d.b):
            if label not in shapes:
                names = ", ".join(shapes)
                raise InputError(Fault("distance", f'"{d}"', f'"{label}" is none of the openings found: {names}'))
    rows, nominal, measured, own = zip(*(_row(d, shapes, u_centre, caliper) for d in distances), strict=True)
    A, length, y = np.array(rows), np.array(nominal), np.array(measured)
    factor = float(np.median(y / length))
    notes: tuple[str, ...] = ()
    if abs(factor - 1) > TAG_LIMIT:
        right = (dpi[0] / factor, dpi[1] / factor)
        notes = (
            f"The file says {dpi[0]:g} dots per inch, the distances say {right[0]:.1f}: the distances were believed.",
        )
        dpi, A, length = right, A * factor, length * factor
    prior = known.cov
    variance = np.square(own)
    doubted: dict[int, float] = {}
    while True:
        R = np.diag(variance) + caliper.limit_of_error**2 / 3
        gain = prior @ A.T @ np.linalg.inv(A @ prior @ A.T + R)
        correction = gain @ (y - length)
        cov = prior - gain @ A @ prior
        left = y - length - A @ correction
        spread = np.sqrt(np.maximum(np.diag(R - A @ cov @ A.T), 0.25 * variance))
        beyond = np.abs(left) / spread
        beyond[list(doubted)] = 0.0
        worst = int(beyond.argmax())
        if beyond[worst] <= 3:
            break
        doubted[worst] = float(left[worst])
        variance[worst] += 4 * left[worst] ** 2  # kept, with little weight
    doubts = tuple(
        Doubt(
            f"{distances[i].a} to {distances[i].b}",
            "distance",
            float(y[i]),
            f"{abs(float(left[i])):.2f} mm from what the others say; measure it again",
        )
        for i in sorted(doubted)
    )
    sound = np.delete(A, list(doubted), axis=0)  # what is doubted proves nothing
    steep = np.abs(sound[:, 1]) > np.abs(sound[:, 0])
    e_x, e_y, k = (float(c) for c in correction)
    return Scale(dpi, (e_x, e_y, k), cov, (int((~steep).sum()), int(steep.sum())), doubts, notes, known.checked)


def _row(
    d: Distance, shapes: Mapping[str, Shape], u_centre: Mapping[str, float], caliper: Caliper
) -> tuple[FloatArray, float, float, float]:
    """(derivatives by e_x, e_y, k), length at the tag, length measured, its own standard uncertainty."""
    a, b = shapes[d.a], shapes[d.b]
    gap = b.centre - a.centre
    length = float(np.hypot(*gap))
    if length < 1e-6:
        raise InputError(Fault("distance", f'"{d}"', "two different openings"))
    ahead = gap / length
    walls = extent(a, -ahead) + extent(b, ahead), extent(a, ahead) + extent(b, -ahead)
    length += {"centres": 0.0, "outside": walls[0], "inside": -walls[1]}[d.how]
    u = np.sqrt(
        (caliper.repeatability**2 + caliper.resolution**2 / 12) / len(d.mm) + u_centre[d.a] ** 2 + u_centre[d.b] ** 2
        + (0.0 if d.how == "centres" else 2 * RIM_U**2)
    )  # fmt: skip
    row = length * np.array([ahead[0] ** 2, ahead[1] ** 2, ahead[0] * ahead[1]])
    return row, length, float(np.mean(d.mm)), float(u)
