"""Several profiles, one after another or several at a time.

With more than one job the work is handed to joblib, and so to whatever backend of it the caller has
chosen: processes of this machine, or a cluster that shares the profiles' and outputs' folders.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from partgen.core.errors import Fault, InputError, PartgenError
from partgen.geometry.kernel_pool import KERNEL
from partgen.jobs.build import USUAL_FORMATS, BuiltSet, build_profile
from partgen.jobs.build_meshes import Step


@dataclass(frozen=True)
class Outcome:
    """What became of one profile."""

    profile: Path
    built: BuiltSet | None = None
    why: str = ""
    """Where nothing was built: the message for the person."""
    outside: bool = False
    """Then: whether something outside failed, rather than the input being wrong."""


def build_many(
    profiles: Sequence[Path],
    out: Path,
    *,
    jobs: int = 1,
    printer: str | None = None,
    layer: float | None = None,
    seed: int = 0,
    revision: str | None = None,
    again: bool = False,
    only: Sequence[str] = (),
    formats: frozenset[str] = USUAL_FORMATS,
    step: Step = lambda what, done, total: None,
) -> Iterator[Outcome]:
    """Build every profile into out/NAME/rNN, `jobs` at a time (-1: as many as the backend offers).

    Outcomes come in the order of the profiles, each as soon as it and all before it are done. One that
    fails stops no other. The other options are those of `build_profile`; `step` hears of a single job only.
    Raises InputError where two profiles share a name, with nothing written.
    """
    distinct(profiles)
    how: dict[str, Any] = {
        "printer": printer,
        "layer": layer,
        "seed": seed,
        "revision": revision,
        "again": again,
        "only": only,
    }
    how["formats"] = formats
    if jobs == 1:
        return (_one(path, out, {**how, "step": step}) for path in profiles)
    from joblib import Parallel, delayed

    done: Iterator[Outcome] = Parallel(n_jobs=jobs, batch_size=1, return_as="generator")(
        delayed(_one)(path, out, how, alone=False) for path in profiles
    )
    return done


def distinct(profiles: Sequence[Path]) -> None:
    """Raises InputError where one profile's revisions would replace another's."""
    for i, path in enumerate(profiles):
        if path.stem in {earlier.stem for earlier in profiles[:i]}:
            expected = "profiles of different names: a revision lands in DIR/NAME, so one would replace the other"
            raise InputError(Fault("build", str(path), expected))


def _one(path: Path, out: Path, how: dict[str, Any], *, alone: bool = True) -> Outcome:
    """One profile, whatever happens. Beside others, each does with one of the kernel's workers."""
    if not alone:
        KERNEL.workers = 1
    try:
        return Outcome(path, build_profile(path, out, **how))
    except PartgenError as error:
        return Outcome(path, why=str(error), outside=not isinstance(error, InputError))
    except Exception as error:
        if alone:
            raise
        return Outcome(path, why=f"{path}: could not go on: {type(error).__name__}: {error}", outside=True)
