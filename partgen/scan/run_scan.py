"""A scan from picture to proposal: see (slow, once), correct (as often as wanted), settle.

Pure: files belong to image, pictures and the command.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from partgen.core.errors import Fault, InputError
from partgen.metrology.estimate_records import FloatArray
from partgen.profile.panel_records import Caliper
from partgen.profile.profile_record import Profile
from partgen.scan import registration, scale
from partgen.scan.combine import disagreements
from partgen.scan.find_holes import SMALLEST, Found, find, table
from partgen.scan.groups import group
from partgen.scan.hole_shapes import moved, rotation, upright
from partgen.scan.image import PHOTO_NEEDS
from partgen.scan.least_squares import fit_ellipse, fit_opening
from partgen.scan.scan_records import Behind, Distance, Fit, Opening, Picture, Rim, Scale, Scan

if TYPE_CHECKING:
    from partgen.scan.photo import Sight

CENTRE_U = 0.05
"""Pixels: what dust and lossy formats leave in a centre beyond the edge points' own scatter (by simulation)."""


OUT_OF_ROUND = 0.002
"""Relative: rounds less elliptic than this on the mean pass without remark."""


LIKE_SIZE = 0.2
"""Relative: openings whose sizes differ by less may be of one kind, seen from nearer and farther."""
LEVELS_APART = 5.0
"""mm between openings that count as nearer and farther."""
PERSPECTIVE = 0.025
"""Relative change of like openings' size across the picture that no scanner makes (common practice, no source)."""


@dataclass(frozen=True)
class Seen:
    """What was found in a picture, under labels that stay while it is corrected."""

    picture: str
    dpi: tuple[float, float]
    openings: Mapping[str, Found]
    known: frozenset[str]
    """Labels that the profile has."""
    mirrored: bool
    quarters: int
    notes: tuple[str, ...]
    sight: Sight | None = None
    """Of a photograph, what its lens leaves unsure."""


def see(
    picture: Picture, profile: Profile | None = None, *, behind: Behind | None = None, mirrored: bool | None = None,
    quarters: int = 0, smallest: float = SMALLEST,
) -> Seen:  # fmt: skip
    """Find and label the openings. Raises InputError when there are none."""
    found = find(picture, behind, smallest)
    if not found:
        raise InputError(
            Fault(picture.name, "no openings",
                  "a scan of the panel with an even dark or bright sheet behind it; "
                  "--behind bright or --behind dark says which")
        )  # fmt: skip
    notes = [*picture.notes]
    if picture.sight is None:
        _refuse_perspective(picture.name, found)
    centres = np.array([f.fit.shape.centre for f in found])
    at = {p.label: p.at for p in profile.position} if profile else {}
    placed = registration.on_profile(centres, at, mirrored)
    if placed is None:
        placed = registration.on_rows(centres, _angles(found), bool(mirrored), quarters)
        if len(set(at.values())) > 1:
            notes.append(
                "The profile's positions do not lie like the openings, so new labels were given by rows and columns."
            )
        if mirrored is None:
            notes.append("Taken as a scan of the panel's face. If its back lay on the glass, say --mirrored.")
    elif placed.ambiguous:
        way = "mirrored" if placed.mirrored else "not mirrored"
        notes.append(
            f"The profile's positions fit other openings too, or another way round; taken as {way} and turned least. "
            "Check the labels in the picture."
        )
    level = placed.to_panel(centres)
    labels = registration.names(level, placed.matches, set(at) - set(placed.matches.values()))
    order = [i for row in registration.reading_order(level) for i in row]
    return Seen(
        picture.name, picture.dpi, {labels[i]: found[i] for i in order}, frozenset(placed.matches.values()),
        placed.mirrored, quarters, tuple(notes), picture.sight,
    )  # fmt: skip


def _refuse_perspective(name: str, found: Sequence[Found]) -> None:
    """Raises InputError where like openings shrink steadily towards one side, as in a photograph from one side.

    On a scanner's glass like openings are of one size wherever they lie, whatever its stretch.
    """
    shapes = [f.fit.shape for f in found]
    areas = np.log([np.sqrt(s.width * s.depth) for s in shapes])
    centres = np.array([s.centre for s in shapes])
    middle = np.median(areas)
    like = np.abs(areas - middle) < LIKE_SIZE
    if like.sum() < 6:
        return
    rows = np.c_[np.ones(like.sum()), centres[like] - centres[like].mean(axis=0)]
    trend, *_ = np.linalg.lstsq(rows, areas[like], rcond=None)
    along = rows[:, 1:] @ trend[1:]
    apart = np.sort(along) / max(float(np.hypot(*trend[1:])), 1e-12)
    if (np.diff(apart) > LEVELS_APART).sum() < 3:  # two or three rows of other sizes are no slope
        return
    left = areas[like] - rows @ trend
    span, noise = float(np.ptp(along)), float(np.sqrt(left @ left / max(1, like.sum() - 3)))
    if span > PERSPECTIVE and span > 6 * noise:
        shrink = f"a photograph from one side: its openings shrink by {100 * span:.0f} % from one end to the other"
        raise InputError(Fault(name, shrink, PHOTO_NEEDS))


def drop(seen: Seen, label: str) -> Seen:
    """Without one opening. Raises InputError where there is none of this label."""
    _need(seen, label)
    return replace(seen, openings={k: v for k, v in seen.openings.items() if k != label}, known=seen.known - {label})


def rename(seen: Seen, label: str, new: str, profile: Profile | None = None) -> Seen:
    """One opening under another label. Raises InputError where it is missing, or the new one is taken."""
    _need(seen, label)
    if new in seen.openings or not new.strip() or len(new) > 40 or not new.isprintable():
        why = "is taken" if new in seen.openings else "cannot be a label"
        raise InputError(Fault("rename", f'"{new}"', f"another label: this one {why}"))
    there = {p.label for p in profile.position} if profile else set()
    known = (seen.known - {label}) | ({new} & there)
    return replace(seen, openings={new if k == label else k: v for k, v in seen.openings.items()}, known=known)


def merge(seen: Seen, label: str, other: str) -> Seen:
    """Two pieces that are one opening (a hair or a bar lay across it), under the first label."""
    from shapely.geometry import MultiPoint, Point

    a, b = _need(seen, label), _need(seen, other)
    if label == other:
        raise InputError(Fault("merge", f'"{label}" twice', "two different openings"))
    matrix = scale.tagged(seen.dpi).matrix
    points = np.vstack([a.rim.points, b.rim.points])
    normals = np.vstack([a.rim.normals, b.rim.normals])
    hull = MultiPoint(points).convex_hull
    outer = np.array([hull.exterior.distance(Point(p)) < 2.0 + a.rim.blur for p in points])
    points, normals = points[outer], normals[outer]
    order = np.argsort([hull.exterior.project(Point(p)) for p in points])
    points, normals = points[order], normals[order]
    rim = replace(a.rim, points=points, normals=normals, blur=max(a.rim.blur, b.rim.blur))
    pitch = float(np.sqrt(abs(np.linalg.det(matrix))))
    one = Found(rim, fit_opening(table(points, matrix), rim.blur * pitch), a.bright)
    left = {k: one if k == label else v for k, v in seen.openings.items() if k != other}
    return replace(seen, openings=left, known=seen.known - {other})


def settle(
    seen: Seen, profile: Profile | None = None, distances: Sequence[Distance] = (), caliper: Caliper | None = None
) -> Scan:
    """Everything in the panel's frame at the scale that the distances give, grouped, with doubts.

    Raises InputError when nothing is left or a distance names no opening.
    """
    if not seen.openings:
        raise InputError(Fault(seen.picture, "no openings left", "at least one"))
    caliper = caliper or (profile.caliper if profile else Caliper())
    labels, found = list(seen.openings), list(seen.openings.values())
    sheet = scale.of_sheet(seen.dpi, seen.sight.stretch_u, checked=seen.sight.checked) if seen.sight else None
    scaled = scale.estimate(
        seen.dpi, {k: f.fit.shape for k, f in seen.openings.items()},
        {k: max(f.fit.u_centre) for k, f in seen.openings.items()}, distances, caliper, sheet,
    )  # fmt: skip
    fits = [_fit_at(f.rim, scaled) for f in found]
    centres = np.array([f.shape.centre for f in fits])
    placed = _placed(seen, labels, centres, fits, profile)
    spread = _scale_spread(centres, scaled, placed)
    if seen.sight is not None:
        spread = spread + _sight_spread(centres, seen.sight, placed)
        fits = [_wider(fit, seen.sight) for fit in fits]
    openings = [
        _opening(label, label in seen.known, f.rim, fit, s, scaled, placed)
        for label, f, fit, s in zip(labels, found, fits, spread, strict=True)
    ]
    groups, doubts = group(openings, profile)
    doubts = [*scaled.doubts, *doubts, *(disagreements(groups, profile) if profile else [])]
    missing = tuple(p.label for p in profile.position if p.label not in seen.openings) if profile and seen.known else ()
    behind: Behind = "bright" if sum(f.bright for f in found) * 2 > len(found) else "dark"
    return Scan(
        seen.picture, behind, seen.mirrored, -placed.turn, scaled, tuple(openings), tuple(groups), missing,
        tuple(doubts), (*seen.notes, *scaled.notes, *_said(seen, scaled), *_out_of_round(found, fits, scaled)),
    )  # fmt: skip


def _need(seen: Seen, label: str) -> Found:
    if label not in seen.openings:
        raise InputError(Fault("opening", f'"{label}"', f"one of {', '.join(seen.openings)}"))
    return seen.openings[label]


def _angles(found: Sequence[Found]) -> list[float]:
    return [f.fit.shape.angle for f in found if f.fit.shape.kind in ("rectangle", "slot")]


def _fit_at(rim: Rim, scaled: Scale) -> Fit:
    """The opening fitted afresh once the scanner's stretch is out of its edge points."""
    pitch = float(np.sqrt(abs(np.linalg.det(scaled.matrix))))
    return fit_opening(table(rim.points, scaled.matrix), rim.blur * pitch)


def _placed(
    seen: Seen, labels: Sequence[str], centres: FloatArray, fits: Sequence[Fit], profile: Profile | None
) -> registration.Placement:
    at = {p.label: p.at for p in profile.position} if profile else {}
    both = [i for i, label in enumerate(labels) if label in seen.known and label in at]
    if len(both) >= 2:
        target = np.array([at[labels[i]] for i in both])
        turn, shift = registration.rigid(registration.flipped(centres[both], seen.mirrored), target)
        return registration.Placement(seen.mirrored, turn, shift, {})
    angles = [f.shape.angle for f in fits if f.shape.kind in ("rectangle", "slot")]
    return registration.on_rows(centres, angles, seen.mirrored, seen.quarters)


def _scale_spread(centres: FloatArray, scaled: Scale, placed: registration.Placement) -> FloatArray:
    """(n, 2, 2) covariance, in the panel frame, of what the scale's error does to each centre.

    Relative to the openings as a whole: the part that a shift and a turn of them all would take up
    is no error of the panel's.
    """
    d = centres - centres.mean(axis=0)
    zero, one = np.zeros(len(d)), np.ones(len(d))
    by_scale = np.stack([np.stack([d[:, 0], zero, d[:, 1]], -1), np.stack([zero, d[:, 1], zero], -1)], axis=1)
    by_motion = np.stack([np.stack([one, zero, -d[:, 1]], -1), np.stack([zero, one, d[:, 0]], -1)], axis=1)
    A, B = by_scale.reshape(-1, 3), by_motion.reshape(-1, 3)
    left = (A - B @ np.linalg.lstsq(B, A, rcond=None)[0]).reshape(-1, 2, 3)
    turn = rotation(placed.turn) @ np.diag([-1.0 if placed.mirrored else 1.0, 1.0])
    left = turn @ left
    return np.asarray(left @ scaled.cov @ left.transpose(0, 2, 1))


def _sight_spread(centres: FloatArray, sight: Sight, placed: registration.Placement) -> FloatArray:
    """(n, 2, 2) covariance, in the panel frame, of what a photograph's lens and pose do to each centre, without
    what a shift and a turn of them all would take up."""
    n = len(centres)
    d = centres - centres.mean(axis=0)
    zero, one = np.zeros(n), np.ones(n)
    motion = np.stack([np.stack([one, zero, -d[:, 1]], -1), np.stack([zero, one, d[:, 0]], -1)], axis=1).reshape(-1, 3)
    left = np.eye(2 * n) - motion @ np.linalg.pinv(motion)
    cov = left @ sight.spread(centres) @ left.T
    turn = rotation(placed.turn) @ np.diag([-1.0 if placed.mirrored else 1.0, 1.0])
    blocks = np.stack([cov[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] for i in range(n)])
    return np.asarray(turn @ blocks @ turn.T)


def _wider(fit: Fit, sight: Sight) -> Fit:
    """A fit with what the lens leaves unsure of distances across the opening."""
    shape = fit.shape
    ahead = rotation(shape.angle)
    halves = (shape.width / 2 * ahead[:, 0], shape.depth / 2 * ahead[:, 1])
    ends = [shape.centre + side * half for half in halves for side in (-1, 1)]
    cov = sight.spread(np.array(ends))
    across = np.zeros((2, 8))
    across[0, 0:2], across[0, 2:4] = -ahead[:, 0], ahead[:, 0]
    across[1, 4:6], across[1, 6:8] = -ahead[:, 1], ahead[:, 1]
    u_width, u_depth = np.sqrt(np.diag(across @ cov @ across.T))
    return replace(fit, u_width=float(np.hypot(fit.u_width, u_width)), u_depth=float(np.hypot(fit.u_depth, u_depth)))


def _opening(
    label: str, known: bool, rim: Rim, fit: Fit, spread: FloatArray, scaled: Scale, placed: registration.Placement
) -> Opening:
    pitch = float(np.sqrt(abs(np.linalg.det(scaled.matrix))))
    u_at = np.sqrt(np.diag(spread) + max(fit.u_centre) ** 2 + (CENTRE_U * pitch) ** 2)
    both_edges = 2 * np.hypot(scale.RIM_U, rim.level_u * pitch)
    e = np.sqrt(np.diag(scaled.cov))
    ahead = np.abs(rotation(fit.shape.angle)[:, 0])  # the width's direction on the scanner's bed
    width_e, depth_e = float(np.hypot(*(ahead * e[:2]))), float(np.hypot(*(ahead[::-1] * e[:2])))
    shape = fit.shape
    if placed.mirrored:
        points = tuple((-x, y) for x, y in shape.points[::-1])
        shape = replace(shape, x=-shape.x, angle=-shape.angle, points=points)
    shape = moved(shape, placed.turn, placed.shift)
    final = upright(shape)
    u_width = float(np.sqrt(fit.u_width**2 + both_edges**2 + (shape.width * width_e) ** 2))
    u_depth = float(np.sqrt(fit.u_depth**2 + both_edges**2 + (shape.depth * depth_e) ** 2))
    own = (fit.u_width, fit.u_depth)
    if final.width != shape.width:
        u_width, u_depth, own = u_depth, u_width, own[::-1]
    if final.kind == "round":
        u_depth = u_width = max(u_width, u_depth)
    if final.kind == "outline":
        width, depth = np.ptp(np.array(final.points), axis=0)
        final = replace(final, width=float(width), depth=float(depth))
    middle = rim.points.mean(axis=0)
    fit = replace(fit, shape=final, u_width=own[0], u_depth=own[1])
    return Opening(
        label, known, fit, rim, (float(u_at[0]), float(u_at[1])), u_width, u_depth, (float(middle[0]), float(middle[1]))
    )


def _said(seen: Seen, scaled: Scale) -> list[str]:
    said = []
    if seen.mirrored:
        said.append(
            "The scan shows the panel mirrored, as seen from its back. It has been turned over: "
            "all places below are as seen from the front."
        )
    across, along = scaled.distances
    if scaled.checked and min(scaled.distances) < 2:
        said.append("Scale held by the marker sheet, whose marks were read with the calipers.")
    elif seen.sight is not None and not scaled.proven:
        said.append("Not proven: nobody has read the sheet's marks with the calipers (--sheet-mm).")
    elif not scaled.proven:
        need = [f"{max(0, 2 - n)} more {way}" for n, way in ((across, "across"), (along, "along")) if n < 2]
        said.append(
            "Not proven: the scale rests on the file's resolution tag, and scanners stretch. "
            f"Measure distances between openings with the calipers ({' and '.join(need)} the bed)."
        )
    else:
        said.append(f"Scale held by {across} distances across and {along} along the bed.")
    return said


def _out_of_round(found: Sequence[Found], fits: Sequence[Fit], scaled: Scale) -> list[str]:
    """A remark where round openings are ellipses along the scanner's axes: a stretch that needs no calipers to see."""
    ratios = []
    for one, fit in zip(found, fits, strict=True):
        if fit.shape.kind == "round":
            points = table(one.rim.points, scaled.matrix)[fit.used]
            _, _, a, b, angle = fit_ellipse(points[:: max(1, len(points) // 90)]).p
            c, s = np.cos(angle), np.sin(angle)
            ratios.append(float(np.hypot(a * s, b * c) / np.hypot(a * c, b * s) - 1))  # half heights over half widths
    if len(ratios) < 3:
        return []
    mean, u = float(np.mean(ratios)), float(np.std(ratios, ddof=1) / np.sqrt(len(ratios)))
    if abs(mean) < max(3 * u, OUT_OF_ROUND):
        return []
    longer = "along" if mean > 0 else "across"
    return [
        f"Round openings come out {100 * abs(mean):.1f} % longer {longer} the bed than the other way: "
        "the scale of one of the two is off by that much. Measure distances both ways."
    ]
