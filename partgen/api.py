"""The Python interface: a profile in; a plan, or a built revision, out. Everything here is kept stable."""

from __future__ import annotations

from collections.abc import Collection
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partgen.jobs.build import BuiltSet
    from partgen.output.result_document import FitDocument
    from partgen.profile.load import LoadedProfile
    from partgen.profile.undo import Undone


def load_profile(path: str | PathLike[str]) -> LoadedProfile:
    """Read and check one profile. Nothing is written.

    `.profile` of what comes back holds the readings and wishes as frozen records, every length in mm
    whatever the file's unit; `.name` is the file's stem, the name of its output folder.

    Raises ProfileError (an InputError) that names every fault in the file at once, and OutsideError
    where the system refuses to read it.

    >>> from partgen import load_profile
    >>> loaded = load_profile("my-panel.toml")
    >>> loaded.name, [position.label for position in loaded.profile.position]
    ('my-panel', ['S1', 'S2'])
    >>> loaded.profile.hole["window"].width.values  # mm, as read
    (11.52, 11.5)
    """
    from partgen.profile.load import load_profile as load

    return load(Path(path))


def plan(loaded: LoadedProfile, *, printer: str | None = None, seed: int = 0) -> FitDocument:
    """Heights, clearance, grip, states and what to measure next, from the readings alone. Nothing is written.

    `loaded` stays as it was loaded; its log, printer and materials are read beside its file now.
    `printer` names another printer than the profile's; `seed` (0 or more) starts the random draws, and
    the same seed gives the same numbers. The document is what `partgen predict --json` prints: lengths
    in mm, angles in degrees, forces in N, `u95` expanded uncertainties (k for 95 %, JCGM 100:2008 G.3),
    states after ISO 14253-1. One entry of `positions` for each position of the profile, in its order.

    Raises InputError where the profile, its log, the printer's or a material's file is wrong.

    >>> from partgen import load_profile, plan
    >>> fit = plan(load_profile("my-panel.toml"))
    >>> [(p.label, round(p.height_mm, 1)) for p in fit.positions]
    [('S1', 5.8), ('S2', 6.1)]
    >>> fit.set.p_all_fit > 0.95, fit.doubts
    (True, ())
    """
    from partgen.jobs.plan import plan_profile

    return plan_profile(loaded, printer=printer, seed=seed).document


def build(
    loaded: LoadedProfile,
    out: str | PathLike[str] = "outputs",
    *,
    printer: str | None = None,
    seed: int = 0,
    revision: str | None = None,
    again: bool = False,
    only: Collection[str] = (),
    formats: Collection[str] = ("stl", "3mf"),
) -> BuiltSet:
    """Make the parts, prove that they fit, and write the next revision into `out`/NAME/rNN and into the log.

    `.folder` of what comes back is that folder, `.document` what its fit.json holds (units as in `plan`),
    `.remarks` what a person should hear besides. A failed check is no error: it stands in the document's
    states. With `revision` ("r01"), an earlier one is made again from the log alone. `formats` are among
    "stl", "3mf" and "step"; STL files are always written. Where nothing is new since the last revision, that
    one comes back, with the files it lacked; `again` makes a new one of the very same sizes. `only` names labels
    that are made alone, as a pilot; the others come with the next build.

    Raises InputError, with nothing written, where anything read or asked for is wrong; OutsideError where
    disk or a library failed, and then no half-written revision is left.

    >>> from partgen import build, load_profile
    >>> built = build(load_profile("my-panel.toml"), "outputs")
    >>> built.folder.as_posix(), built.document.revision
    ('outputs/my-panel/r01', 'r01')
    >>> sorted(path.name for path in built.folder.glob("parts/*"))
    ['S1-r01.stl', 'S2-r01.stl']
    """
    from partgen.jobs.build import build_profile, chosen_formats

    return build_profile(
        loaded,
        Path(out),
        printer=printer,
        seed=seed,
        revision=revision,
        again=again,
        only=only,
        formats=chosen_formats(formats),
    )


def undo(path: str | PathLike[str]) -> Undone:
    """Undo exactly the last thing recorded of the profile (or calibrated printer) at `path`.

    That is a reading, a trial, a confirmation, a scan, a change of the shape or a calibration, in whichever session it
    was recorded; called again, the one before. `.text` says what it was. The log keeps it readable.

    Raises InputError where nothing is recorded, or where that very place was edited by hand since; OutsideError where
    the disk fails. Nothing has changed then. Files come back as they stood, in the units they are written in.

    >>> from pathlib import Path
    >>> from partgen import load_profile, undo
    >>> from partgen.profile.edit import Place, add_reading
    >>> from partgen.profile.undo import edited
    >>> _ = edited(Path("my-panel.toml")).apply(add_reading(Place("position", "S1", "drop"), "4.33"))
    >>> load_profile("my-panel.toml").profile.position[0].drop.values  # mm
    (4.31, 4.35, 4.3, 4.33)
    >>> undo("my-panel.toml").recording.what
    'reading 4.33 of S1: drop'
    >>> load_profile("my-panel.toml").profile.position[0].drop.values
    (4.31, 4.35, 4.3)
    """
    from partgen.profile.undo import undo as take_back

    return take_back(Path(path))
