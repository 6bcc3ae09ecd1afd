"""Camera and pose of one photograph, from the markers that it shows: plane places to pixels and back.

The camera: a pinhole with square pixels and two radial terms (D. C. Brown, "Close-range camera calibration",
Photogrammetric Engineering 37 (1971) 855-866), as OpenCV's `projectPoints` has it. Everything is found from the
seen corners of flat boards in one least-squares adjustment with wide prior knowledge of what a phone can be, so
that a single photograph from nearly above, which says little of the focal length, still has an honest covariance.
Frame: mm as printed times the checked scale, of the first board: x right, y down, z away from the camera.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import FloatArray

PIXEL_U = 0.05
"""Pixels: least standard uncertainty of a corner that is believed (by simulation; paper is never quite flat)."""
FOCAL, FOCAL_U = 0.85, 0.4
"""Focal length over the picture's longer side, and the spread of its logarithm (common practice, no source: wide
enough for any phone's main camera; so are the next two)."""
MIDDLE_U = 0.01
"""How far the lens's axis may miss the picture's middle, over the longer side."""
RADIAL_U = 0.3
"""Of either radial term."""
_CAMERA = 5


@dataclass(frozen=True)
class Seen:
    """The corners of one board in a photograph."""

    flat: FloatArray
    """(n, 2) on the board, mm."""
    pixels: FloatArray
    """(n, 2)"""


@dataclass(frozen=True)
class Lens:
    """One photograph's camera and pose, with their covariance.

    `p`: (f, cx, cy, k1, k2, turn (3), shift (3), then (x, y, angle) of each further board), pixels, mm, radians.
    """

    p: FloatArray
    cov: FloatArray
    corner_rms: float
    """Pixels."""
    depth: float = 0.0
    """mm by which the panel's face lies behind the sheet's printed side."""

    def project(self, flat: FloatArray, p: FloatArray | None = None) -> FloatArray:
        """(n, 2) mm on the panel's face to (n, 2) pixels; with `p`, under other parameters."""
        return _project(self.p if p is None else p, flat, self.depth)

    def on_face(self, pixels: FloatArray, p: FloatArray | None = None) -> FloatArray:
        """(n, 2) pixels to (n, 2) mm on the panel's face."""
        import cv2

        p = self.p if p is None else p
        rays = _straight((pixels - p[1:3]) / p[0], p[3], p[4])
        turn, _ = cv2.Rodrigues(p[5:8])
        # a point x of the plane z = depth is seen where turn @ (x, y, depth) + shift is along (u, v, 1)
        columns = np.column_stack([turn[:, 0], turn[:, 1], turn[:, 2] * self.depth + p[8:11]])
        found = np.linalg.solve(columns, np.column_stack([rays, np.ones(len(rays))]).T).T
        return np.asarray(found[:, :2] / found[:, 2:])

    def spread(self, flat: FloatArray) -> FloatArray:
        """(2n, 2n) covariance of places on the face that are read at the pixels where `flat` (n, 2) appears."""
        pixels = self.project(flat)
        columns = []
        steps = 1e-3 * np.sqrt(np.maximum(np.diag(self.cov), 1e-24))
        for i in range(_CAMERA + 6):  # where further boards lie does not move what is seen
            up, down = self.p.copy(), self.p.copy()
            up[i] += steps[i]
            down[i] -= steps[i]
            columns.append(((self.on_face(pixels, up) - self.on_face(pixels, down)) / (2 * steps[i])).ravel())
        jacobian = np.stack(columns, axis=1)
        n = jacobian.shape[1]
        return np.asarray(jacobian @ self.cov[:n, :n] @ jacobian.T)

    def pitch(self, flat: FloatArray) -> FloatArray:
        """(n,) mm a pixel around places on the face: the coarser of its two ways."""
        ways = [np.hypot(*(self.project(flat + step) - self.project(flat)).T) for step in np.eye(2)]
        return np.asarray(1.0 / np.minimum(*ways))

    def slant(self, flat: FloatArray) -> FloatArray:
        """(n,) tangent of the angle between the line of sight and the face's normal."""
        import cv2

        turn, _ = cv2.Rodrigues(self.p[5:8])
        eye = -turn.T @ self.p[8:11]
        return np.asarray(np.hypot(*(flat - eye[:2]).T) / abs(eye[2] - self.depth))


def adjust(boards: Sequence[Seen], size: tuple[int, int], depth: float = 0.0) -> Lens:
    """Camera and poses from the corners seen; `size`: (width, height) of the picture in pixels.

    The first board is the frame. Raises ValueError where the corners determine no pose.
    """
    from scipy.optimize import least_squares

    longer = float(max(size))
    middle = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    start = _start(boards, size)

    def prior(p: FloatArray) -> FloatArray:
        axis = (p[1:3] - middle) / (MIDDLE_U * longer)
        return np.array([np.log(max(p[0], 1.0) / longer / FOCAL) / FOCAL_U, *axis, *(p[3:5] / RADIAL_U)])

    used = [np.ones(len(one.pixels), dtype=bool) for one in boards]
    sigma = PIXEL_U
    for _ in range(3):

        def residual(p: FloatArray, used: Sequence[FloatArray] = used, sigma: float = sigma) -> FloatArray:
            off = [
                (of_board(p, k, one.flat) - one.pixels)[u] for k, (one, u) in enumerate(zip(boards, used, strict=True))
            ]
            return np.concatenate([np.concatenate(off).ravel() / sigma, prior(p)])

        found = least_squares(residual, start, x_scale=np.maximum(np.abs(start), 1e-2), xtol=1e-12, ftol=1e-12)
        start = found.x
        every = [np.hypot(*(of_board(start, k, one.flat) - one.pixels).T) for k, one in enumerate(boards)]
        typical = float(np.median(np.concatenate(every)))
        used = [off < max(5 * typical, 1.0) for off in every]
        kept = np.concatenate([off[u] for off, u in zip(every, used, strict=True)])
        sigma = max(PIXEL_U, float(np.sqrt((kept**2).mean() / 2)))
    jac = np.asarray(found.jac, dtype=float)
    cov = np.linalg.pinv(jac.T @ jac)
    return Lens(start, cov, float(np.sqrt((kept**2).mean() / 2)), depth)


def _start(boards: Sequence[Seen], size: tuple[int, int]) -> FloatArray:
    """Parameters to begin with: a usual focal length, the pose that goes with it, other boards laid into its plane."""
    import cv2

    first = boards[0]
    if len(first.flat) < 8:
        raise ValueError("too few corners")
    p = np.array([FOCAL * max(size), (size[0] - 1) / 2, (size[1] - 1) / 2, 0.0, 0.0])
    solid = np.column_stack([first.flat, np.zeros(len(first.flat))])
    found, turn, shift = cv2.solvePnP(solid, np.ascontiguousarray(first.pixels), _matrix(p), None)
    if not found:
        raise ValueError("no pose")
    p = np.concatenate([p, turn.ravel(), shift.ravel()])
    lens = Lens(p, np.eye(len(p)), 0.0)
    further = []
    for one in boards[1:]:
        flat = lens.on_face(one.pixels)
        a, b = one.flat - one.flat.mean(axis=0), flat - flat.mean(axis=0)
        angle = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
        further += [*(flat.mean(axis=0) - _turned(one.flat, angle).mean(axis=0)), angle]
    return np.array([*p, *further])


def of_board(p: FloatArray, number: int, flat: FloatArray) -> FloatArray:
    """(n, 2) pixels of places on a board."""
    if number:
        at = _CAMERA + 6 + 3 * (number - 1)
        flat = _turned(flat, p[at + 2]) + p[at : at + 2]
    return _project(p, flat, 0.0)


def _turned(flat: FloatArray, angle: float) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(flat @ np.array([[c, s], [-s, c]]))


def _project(p: FloatArray, flat: FloatArray, depth: float) -> FloatArray:
    import cv2

    solid = np.column_stack([flat, np.full(len(flat), depth)])
    pixels, _ = cv2.projectPoints(solid, p[5:8], p[8:11], _matrix(p), _radial(p))
    return np.asarray(pixels[:, 0])


def _straight(seen: FloatArray, k1: float, k2: float) -> FloatArray:
    """(n, 2) directions whose distorted images are `seen`: r (1 + k1 r² + k2 r⁴) solved for r by Newton's steps."""
    far = np.hypot(*seen.T)
    r = far.copy()
    for _ in range(12):
        off = r * (1 + k1 * r**2 + k2 * r**4) - far
        r -= off / np.maximum(1 + 3 * k1 * r**2 + 5 * k2 * r**4, 0.1)
    return np.asarray(seen * (r / np.maximum(far, 1e-12))[:, None])


def _matrix(p: FloatArray) -> FloatArray:
    return np.array([[p[0], 0.0, p[1]], [0.0, p[0], p[2]], [0.0, 0.0, 1.0]])


def _radial(p: FloatArray) -> FloatArray:
    return np.array([p[3], p[4], 0.0, 0.0])
