"""Where every hole sits over its seat, from the few whose offset was read. Lengths in mm, radians. Pure.

Panel and board are rigid: all holes are shifted together against all seats by (dx, dy), and turned together by phi
about the middle of the positions; each has a small scatter of its own. So an offset read at a few holes says where
the others are. Linear least squares with priors, as for heights (JCGM 102:2011, 6: several output quantities; from
memory): o_i = s + phi (-y_i, x_i) + e_i, and a reading is o_i give or take its limit.

Where fewer than two offsets were read nothing is said here: each hole then lies within its own limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import FloatArray
from partgen.profile.profile_record import Profile

MEASURED_PLACE_LIMIT = 0.1
"""mm a measured hole offset may be off where the profile does not say."""
OWN_SCATTER = 0.05
"""mm, standard deviation along each axis of a punched hole, and of a soldered switch, about where all the others are;
common practice, no source."""
SCATTER_DOF = 4.0
"""Degrees of freedom granted to that."""
FEWEST = 2
"""Offsets that tell a shift and a turn."""


@dataclass(frozen=True)
class Placed:
    """Where one position's hole is, centre minus seat's axis."""

    at: tuple[float, float]
    shared: tuple[tuple[float, float, float], tuple[float, float, float]]
    """(2, 3): times three unit draws that all positions share."""
    own: float
    """Standard deviation along each axis of what is this position's alone."""

    @property
    def u(self) -> float:
        """Largest standard uncertainty in any direction."""
        rows = np.asarray(self.shared)
        return math.sqrt(float(np.linalg.eigvalsh(rows @ rows.T).max()) + self.own**2)


def rigid_offsets(profile: Profile) -> dict[str, Placed]:
    """Every position's hole, by label; empty where fewer than FEWEST offsets were read."""
    positions = profile.position
    read = [i for i, one in enumerate(positions) if one.offset is not None]
    if len(read) < FEWEST:
        return {}
    places = np.array([one.at for one in positions], dtype=float)
    away = places - places.mean(axis=0)
    reach = float(np.max(np.linalg.norm(away, axis=1))) or 1.0
    sigma = max(min(profile.hole_of(one).place_limit for one in positions), 1e-3) / 2
    # shift and turn both may take the holes as far as is allowed for: half of the disc's radius along each axis
    prior = np.diag([sigma**-2, sigma**-2, (reach / sigma) ** 2])
    rows = np.zeros((len(positions), 2, 3))
    rows[:, 0, 0] = rows[:, 1, 1] = 1.0
    rows[:, 0, 2], rows[:, 1, 2] = -away[:, 1], away[:, 0]
    values = np.array([positions[i].offset for i in read], dtype=float)
    u = np.array([(MEASURED_PLACE_LIMIT if positions[i].offset_limit is None else positions[i].offset_limit) or 1e-3
                  for i in read]) / 2  # fmt: skip
    own = OWN_SCATTER
    for _ in range(3):  # the scatter is weighed with what these readings show of it
        mean, cov = _solved(rows[read], values, np.sqrt(u**2 + own**2), prior)
        left = values - rows[read] @ mean
        seen = max(float(np.sum(left**2)) - 2 * float(np.sum(u**2)), 0.0)
        dof = max(2 * len(read) - 3, 0)
        own = math.sqrt((SCATTER_DOF * OWN_SCATTER**2 + seen) / (SCATTER_DOF + dof))
    root = np.linalg.cholesky(cov)
    placed, order = {}, {i: k for k, i in enumerate(read)}
    for i, one in enumerate(positions):
        if i in order:
            k = order[i]
            share = own**2 / (own**2 + u[k] ** 2)  # of the reading in what is known of this hole, given shift and turn
            at = (1 - share) * rows[i] @ mean + share * values[k]
            factor, alone = (1 - share) * rows[i] @ root, math.sqrt(share) * u[k]
        else:
            at, factor, alone = rows[i] @ mean, rows[i] @ root, own
        shared = tuple(tuple(float(v) for v in row) for row in factor)
        placed[one.label] = Placed((float(at[0]), float(at[1])), shared, float(alone))  # type: ignore[arg-type]
    return placed


def _solved(rows: FloatArray, values: FloatArray, u: FloatArray, prior: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (3,) and covariance (3, 3) of shift and turn."""
    weight = 1 / u**2
    cov = np.linalg.inv(prior + np.einsum("kia,kib,k->ab", rows, rows, weight))
    return cov @ np.einsum("kia,ki,k->a", rows, values, weight), cov
