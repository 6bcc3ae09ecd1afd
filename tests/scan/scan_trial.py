"""One simulated scan measured and compared with its truth; shared by the quick and the long test."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scan_drawing import Bench, draw, invent

from partgen.profile.panel_records import Caliper
from partgen.scan.run_scan import see, settle
from partgen.scan.scan_records import Distance, Picture, Scan

COLOURS = [(0.10, 0.11, 0.13), (0.35, 0.05, 0.05), (0.05, 0.12, 0.3), (0.3, 0.32, 0.3), (0.5, 0.5, 0.52)]


@dataclass(frozen=True)
class Outcome:
    """What was right and what was off, in mm."""

    missed: int
    invented: int
    wrong_form: int
    centre: np.ndarray
    """(n, 2) error after the best turn and shift of all openings together."""
    u_centre: np.ndarray
    size: np.ndarray
    """(n, 2) error of width and depth."""
    u_size: np.ndarray
    scan: Scan


def conditions(seed: int, dpi: float | None = None) -> tuple:
    """(panel, bench, rng) of trial `seed`, everything drawn from what the uncertainties assume."""
    rng = np.random.default_rng(seed)
    panel = invent(rng)
    resolution = dpi or float(rng.choice([150, 200, 300, 300, 300, 400, 600], p=[0.1, 0.15, 0.2, 0.2, 0.2, 0.1, 0.05]))
    bright = rng.uniform() < 0.5
    bench = Bench(
        dpi=resolution,
        stretch=(float(rng.normal(0, 0.005)), float(rng.normal(0, 0.005))),
        lean=float(rng.normal(0, 0.0003)),
        turn=float(rng.normal(0, 0.03)),
        mirrored=bool(rng.uniform() < 0.2),
        blur=float(rng.uniform(0.7, 1.5)) * max(1.0, resolution / 400),
        noise=float(rng.uniform(0.5, 4)),
        gamma=float(rng.uniform(1.9, 2.5)),
        gradient=float(rng.uniform(0, 0.12)),
        jpeg=int(rng.integers(75, 96)) if rng.uniform() < 0.5 else None,
        dust=int(rng.integers(0, 40)),
        behind=(0.93, 0.93, 0.92) if bright else (0.012, 0.012, 0.014),
        panel=COLOURS[int(rng.integers(len(COLOURS)))],
        print_colour=(0.55, 0.5, 0.4) if rng.uniform() < 0.5 else (0.2, 0.5, 0.55),
        margin=6.0 if rng.uniform() < 0.6 else -1.0,
        seed=seed,
    )
    panel.holes = [replace(hole, rim=float(rng.normal(0, 0.01))) for hole in panel.holes]
    if bench.margin < 0:
        panel.screws = []
    return panel, bench, rng


def run(seed: int, dpi: float | None = None) -> Outcome:
    """Draw, scan, measure with simulated calipers distances, compare."""
    panel, bench, rng = conditions(seed, dpi)
    rgb, to_pixels = draw(panel, bench)
    picture = Picture(f"trial {seed}", rgb, (bench.dpi, bench.dpi), (), bench.jpeg is not None)
    seen = see(picture, mirrored=bench.mirrored)
    true_pixels = to_pixels([(h.x, h.y) for h in panel.holes])
    found_pixels = np.array([f.rim.points.mean(axis=0) for f in seen.openings.values()])
    gap = np.hypot(*(true_pixels[:, None] - found_pixels[None]).transpose(2, 0, 1)) * 25.4 / bench.dpi
    hit = gap.min(axis=1) < 1.0
    invented = int((gap.min(axis=0) >= 1.0).sum())
    labels = list(seen.openings)
    of = {labels[int(gap[i].argmin())]: panel.holes[i] for i in np.flatnonzero(hit)}
    scan = settle(seen, distances=distances(of, rng), caliper=Caliper())
    pairs = [(o, of[o.label]) for o in scan.openings if o.label in of]
    got = np.array([o.shape.centre for o, _ in pairs])
    true = np.array([(h.x, h.y) for _, h in pairs])
    centre = got - aligned(true, got)
    size, u_size = [], []
    for o, h in pairs:
        wide = (o.shape.width - h.width, o.shape.depth - h.depth)
        size.append(wide)
        u_size.append((o.u_width, o.u_depth))
    wrong = sum(o.shape.kind != h.kind for o, h in pairs)
    return Outcome(
        int((~hit).sum()), invented, wrong, centre, np.array([o.u_at for o, _ in pairs]),
        np.array(size), np.array(u_size), scan,
    )  # fmt: skip


def distances(of: dict, rng) -> list[Distance]:
    """Two or three calipers distances each way, with the errors that the calipers' record states."""
    common = rng.uniform(-0.03, 0.03)
    labels = list(of)
    ways: dict[bool, list] = {True: [], False: []}
    for i, a in enumerate(labels):
        for b in labels[i + 1 :]:
            dx, dy = abs(of[a].x - of[b].x), abs(of[a].y - of[b].y)
            if min(dx, dy) < 2 and max(dx, dy) > 10:
                ways[dx > dy].append((max(dx, dy), a, b))
    out = []
    for pairs in ways.values():
        for _, a, b in sorted(pairs, reverse=True)[:3]:
            true = float(np.hypot(of[a].x - of[b].x, of[a].y - of[b].y))
            out.append(Distance(a, b, (round(true + common + rng.normal(0, 0.03), 2),)))
    return out


def aligned(points: np.ndarray, onto: np.ndarray) -> np.ndarray:
    """`points` turned and shifted (not stretched) to lie best on `onto` (Kabsch)."""
    a, b = points - points.mean(axis=0), onto - onto.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    flip = np.diag([1.0, np.sign(np.linalg.det(u @ vt))])
    return a @ (u @ flip @ vt) + onto.mean(axis=0)
