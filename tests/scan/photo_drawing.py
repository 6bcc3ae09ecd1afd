"""Photographs of invented flat panels with the marker sheet on them, rendered through a known lens and pose.

Colours come from the closed form of each opening and from OpenCV's own picture of the board; the lens is OpenCV's
`projectPoints` turned round by `undistortPoints`. All data is invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from scan_drawing import Hole

from partgen.scan.marker_sheet import PAGE, Board

FACE, BEHIND, PAPER = 0.5, 0.02, 0.85
STEP = 16
MARGIN = 8.0


@dataclass(frozen=True)
class Camera:
    """A phone held over the panel; `lean` about x and y and `turn` about the line of sight, radians; mm, pixels."""

    size: tuple[int, int] = (2400, 1800)
    focal: float = 1900.0
    middle: tuple[float, float] = (5.0, -4.0)
    radial: tuple[float, float] = (0.05, -0.04)
    lean: tuple[float, float] = (0.10, -0.07)
    turn: float = 0.04
    away: float = 420.0
    over: tuple[float, float] = (150.0, 110.0)
    blur: float = 0.8
    noise: float = 2.0
    jpeg: int | None = 92
    seed: int = 0
    boards: tuple[tuple[Board, tuple[float, float], float], ...] = field(
        default_factory=lambda: ((PAGE, (10.0, 10.0), 0.0),)
    )
    stretch: float = 1.0
    """How much larger than drawn the sheet was printed."""

    @property
    def matrix(self):
        w, h = self.size
        return np.array([
            [self.focal, 0, (w - 1) / 2 + self.middle[0]], [0, self.focal, (h - 1) / 2 + self.middle[1]], [0, 0, 1.0]
        ])  # fmt: skip

    @property
    def pose(self):
        turn = cv2.Rodrigues(np.array([*self.lean, self.turn]))[0]
        return turn, np.array([0, 0, self.away]) - turn @ np.array([*self.over, 0.0])


def photograph(holes: Sequence[Hole], camera: Camera):
    """(h, w, 3) bytes. The panel's frame here is x right, y down."""
    X, Y = _on_panel(camera)
    pitch = camera.away / camera.focal
    light = np.full(X.shape, FACE, dtype=np.float32)
    steps = np.arange(-0.4, 0.5, 0.2) * pitch
    for hole in holes:
        near = np.hypot(X - hole.x, Y - hole.y) < np.hypot(hole.width, hole.depth) / 2 + 1
        covered = np.mean([hole.covers(X[near] + dx, Y[near] + dy) for dx in steps for dy in steps], axis=0)
        light[near] += covered * (BEHIND - FACE)
    for board, at, angle in camera.boards:
        _lay(light, board, at, angle, camera.stretch, X, Y, pitch)
    light = cv2.GaussianBlur(light, (0, 0), camera.blur)
    tones = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055) * 255
    rng = np.random.default_rng(camera.seed)
    grey = np.clip(np.round(tones + rng.normal(0, camera.noise, tones.shape)), 0, 255).astype(np.uint8)
    rgb = np.repeat(grey[..., None], 3, axis=2)
    if camera.jpeg:
        rgb = cv2.imdecode(cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, camera.jpeg])[1], cv2.IMREAD_COLOR)
    return rgb


def _on_panel(camera: Camera):
    """Where each pixel looks on the panel: two arrays (h, w), mm."""
    w, h = camera.size
    nx, ny = w // STEP + 3, h // STEP + 3
    across, along = ((np.arange(n) - 0.5) * STEP - 0.5 for n in (nx, ny))
    grid = np.stack(np.meshgrid(across, along), -1).reshape(-1, 1, 2)
    bent = np.array([*camera.radial, 0.0, 0.0])
    rays = cv2.undistortPoints(grid, camera.matrix, bent, criteria=(3, 60, 1e-12))[:, 0]
    turn, shift = camera.pose
    sight = np.column_stack([rays, np.ones(len(rays))])
    plane = np.linalg.solve(np.column_stack([turn[:, 0], turn[:, 1], shift]), sight.T).T
    places = (plane[:, :2] / plane[:, 2:]).reshape(ny, nx, 2).astype(np.float32)
    whole = (cv2.resize(np.ascontiguousarray(one), (nx * STEP, ny * STEP)) for one in places.transpose(2, 0, 1))
    return [one[STEP : STEP + h, STEP : STEP + w] for one in whole]


def _lay(light, board, at, angle, stretch, X, Y, pitch):
    """The sheet with its white margin onto the panel."""
    fine = 12
    size = tuple(int(side * fine) for side in board.size)
    whole = board.made.generateImage(size, marginSize=0) / 255.0 * (PAPER - 0.03) + 0.03
    whole = cv2.GaussianBlur(whole, (0, 0), max(0.4 * pitch * fine, 0.1))
    c, s = np.cos(angle), np.sin(angle)
    u = (c * (X - at[0]) + s * (Y - at[1])) / stretch
    v = (-s * (X - at[0]) + c * (Y - at[1])) / stretch
    on = (u > -MARGIN) & (v > -MARGIN) & (u < board.size[0] + MARGIN) & (v < board.size[1] + MARGIN)
    seen = cv2.remap(
        whole.astype(np.float32), (u * fine - 0.5).astype(np.float32), (v * fine - 0.5).astype(np.float32),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=PAPER,
    )  # fmt: skip
    light[on] = seen[on]


def windows(columns: int = 6, rows: int = 3):
    """A panel beside the sheet: rectangular windows and a row of rounds."""
    places = [(218 + 18.0 * i, 40 + 25.0 * j) for i in range(columns) for j in range(rows)]
    rectangles = [Hole("rectangle", x, y, 12, 7, 0.0, 0.5) for x, y in places]
    return [*rectangles, *(Hole("round", 218 + 25.0 * i, 130, 6.5, 6.5) for i in range(4))]
