"""Trials that fit better another way: two parts in each other's places, or parts of another revision.

Pure numpy. Lengths in mm.

What was measured is compared with what the estimate foretold before these trials, under the plain
reading of them and under each other one; a mix-up must be far more likely (odds of `SUSPECT` to 1)
before the person is asked. A swap must also explain more than one slip in measuring either part would.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from partgen.metrology.estimate_records import Estimate, FloatArray, Observation

SUSPECT = 3000.0
"""Odds at which a mix-up is asked about; there are many pairs, and few are ever swapped."""


@dataclass(frozen=True)
class Mixup:
    """One question to the person."""

    kind: str
    """"swapped" or "revision"."""
    labels: tuple[str, ...]
    revision: str
    """The revision they seem to be of; "" for a swap."""
    question: str


def find_mixups(
    estimate: Estimate,
    spread: float,
    noise: float,
    observations: Sequence[Observation],
    others: Mapping[str, Mapping[str, float]],
    alike: Mapping[str, object] | None = None,
) -> tuple[Mixup, ...]:
    """What looks mixed up in new `observations`, likeliest first; empty when nothing does.

    `estimate` is the one from before these trials; `spread` the deviation of printed heights from
    part to part and `noise` the standard uncertainty of one measured proud. `others` holds, per
    other revision, model heights by label. `alike` says by label what its part is: only parts that are alike
    can stand in each other's places; without it all can.
    """
    seen = [one for one in observations if one.proud and one.label in estimate.labels]
    if not seen:
        return ()
    index = [estimate.labels.index(one.label) for one in seen]
    foretold = estimate.height_error.value - estimate.drop[index]
    measured = np.array([sum(one.proud) / len(one.proud) for one in seen])
    heights = np.array([one.model_height for one in seen])
    cov = estimate.proud_cov[np.ix_(index, index)] + (spread**2 + noise**2) * np.eye(len(seen))
    inverse: FloatArray = np.asarray(np.linalg.inv(cov), dtype=np.float64)
    plain = _fit(measured - foretold - heights, inverse)
    found: list[tuple[float, Mixup]] = []
    for revision, model in others.items():
        if all(one.label in model for one in seen):
            their = np.array([model[one.label] for one in seen])
            gain = _fit(measured - foretold - their, inverse) - plain
            if not np.allclose(their, heights, atol=1e-6) and gain > math.log(SUSPECT):
                labels = tuple(one.label for one in seen)
                found.append((gain, Mixup("revision", labels, revision, _revision_words(revision, seen[0].made_in))))
    for i in range(len(seen)):
        for j in range(i):
            swapped = heights.copy()
            swapped[[i, j]] = heights[[j, i]]
            same = alike is None or alike.get(seen[i].label) == alike.get(seen[j].label)
            if same and abs(heights[i] - heights[j]) > 1e-6:
                gain = _fit(measured - foretold - swapped, inverse) - plain
                slip = max(_fit_without(measured - foretold - heights, inverse, k) for k in (i, j)) - plain
                if gain > max(math.log(SUSPECT), slip):
                    labels = (seen[j].label, seen[i].label)
                    found.append((gain, Mixup("swapped", labels, "", _swap_words(labels))))
    return _apart(found)


def _fit(residual: FloatArray, inverse: FloatArray) -> float:
    """Log-likelihood up to a constant."""
    return -0.5 * float(residual @ inverse @ residual)


def _fit_without(residual: FloatArray, inverse: FloatArray, k: int) -> float:
    """The same with one reading left out: what it is, were that one a slip.

    Of a normal distribution with the precision P, the others' squared distance is r'Pr - (Pr)_k^2 / P_kk.
    """
    pull = float((inverse @ residual)[k])
    return _fit(residual, inverse) + 0.5 * pull**2 / float(inverse[k, k])


def _apart(found: list[tuple[float, Mixup]]) -> tuple[Mixup, ...]:
    """The likeliest, then those that share no label with it: one slip explains its neighbours' too."""
    taken: set[str] = set()
    kept = []
    for _, mixup in sorted(found, key=lambda item: -item[0]):
        if not taken & set(mixup.labels):
            kept.append(mixup)
            taken |= set(mixup.labels)
    return tuple(kept)


def _swap_words(labels: tuple[str, str]) -> str:
    first, second = labels
    return f"{first} and {second} look swapped: each stands as the other would there. Look at the marks inside them"


def _revision_words(revision: str, entered: str) -> str:
    return f"these look like the parts of {revision}, not of {entered}. Look at the marks inside them"
