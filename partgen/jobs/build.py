"""A profile to a revision on disk and in the log. The only stage that writes a revision."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from partgen.core.errors import Fault, InputError, OutsideError
from partgen.core.files import write_new
from partgen.design.plan_records import PositionPlan
from partgen.geometry.kernel_pool import KERNEL
from partgen.geometry.shape_cache import SHAPES, ShapeCache
from partgen.jobs.build_meshes import MadePart, Step, built_facts, make_parts, not_built
from partgen.jobs.folder_owner import note_origin, refuse_foreign
from partgen.jobs.inputs import Inputs, changed_since, current, gather, gather_revision, only_of
from partgen.jobs.plan import Planned, circumstances, plan_inputs, revised
from partgen.jobs.staging import content_of, staged
from partgen.jobs.write_revision import lay_out, order_of, plate_names, print_doc, write_orders, write_plates
from partgen.output.file_names import file_stems
from partgen.output.result_assembly import Built, assemble
from partgen.output.result_document import FitDocument, PrintDoc
from partgen.output.result_file import parse_fit
from partgen.output.stl import expected, read_back, write_stl
from partgen.output.threemf import About
from partgen.profile.load import LoadedProfile
from partgen.profile.log_file import append, log_path, read_log, refuse_unwritable
from partgen.profile.log_records import BuiltPosition, Revision, next_revision_id
from partgen.version import __version__

CONTENT = ("parts/*.stl", "fit.json")
"""What a revision's content hash covers: what is printed, and every number."""
OURS = (
    *("parts/*.stl", "parts/*.step", "fit.json", "report.html", "report-*.pdf", "plate-*.3mf", "assembly-*.step"),
    *("order/order-sheet-*", "order/order-sheet.*", "order/part-list*.csv"),
)
"""What a revision's folder holds of ours: made anew, or gone where the revision is made again without it. The form for
what is measured of a first article is not among it: somebody may have filled it in."""


FORMATS = ("stl", "3mf", "step")
"""What parts can be written as. STL files are always there: report and later revisions read them."""
USUAL_FORMATS = frozenset({"stl", "3mf"})
NOTHING = "Every part stays as it is: nothing was built."
AGAIN = "--again makes a new revision of the very same sizes."
FILES = {"stl": "STL files", "3mf": "3MF plates", "step": "STEP files"}


@dataclass(frozen=True)
class BuiltSet:
    """A revision that stands on disk."""

    document: FitDocument
    folder: Path
    remarks: tuple[str, ...]
    """What the person should hear besides the document."""


def chosen_formats(words: Iterable[str]) -> frozenset[str]:
    """The formats asked for, STL with them. Raises InputError for one that there is not, and for none.

    >>> sorted(chosen_formats(["STEP "]))
    ['step', 'stl']
    """
    asked = [word.strip().lower() for word in words if word.strip()]
    unknown = [word for word in asked if word not in FORMATS]
    if unknown or not asked:
        read = unknown[0] if unknown else "nothing"
        raise InputError(Fault("--formats", read, f"one or more of {', '.join(FORMATS)}, with commas between"))
    return frozenset({"stl", *asked})


def _silent(what: str, done: int, total: int) -> None:
    pass


def build_profile(
    given: Path | LoadedProfile,
    out: Path,
    *,
    printer: str | None = None,
    seed: int = 0,
    layer: float | None = None,
    revision: str | None = None,
    again: bool = False,
    only: Iterable[str] = (),
    formats: frozenset[str] = USUAL_FORMATS,
    step: Step = _silent,
) -> BuiltSet:
    """Build a profile, from its file or as loaded, into out/NAME/rNN, and enter it in the log.

    Where nothing is new since the last revision, that one stands, and gets the files it lacks. With `revision`, an
    earlier one is made again from the log alone, and the log stays as it is; with `again`, the last one's very sizes
    are made again as a new one; with `only`, the parts of these labels alone are made.
    Raises InputError with nothing written, OutsideError where disk or a library failed.
    """
    path = given if isinstance(given, Path) else given.path
    if revision is not None:
        return _rebuilt(path, out, revision, formats, step)
    repeats = _last(path) if again else None
    if repeats is not None:
        inputs, _ = gather_revision(path, repeats)
    else:
        inputs = only_of(gather(given, printer=printer, seed=seed, layer=layer), only)
    refuse_foreign(out / inputs.name, inputs)
    refuse_unwritable(log_path(inputs.path))
    if repeats is None and (stands := current(inputs)) is not None:
        ready = _stands(inputs, stands, out, formats, step)
        if ready is not None:
            return ready
    remarks = []
    if repeats is None and (before := changed_since(inputs)):
        remarks.append(f"The profile has changed since {before} was built.")
    today = date.today()
    planned = _pilot(_plan(inputs, today, step, out))
    last = planned.learnt.revises
    if repeats is None and last is not None and all(c.kept is not None for c in planned.learnt.choices.values()):
        document = planned.document.model_copy(update={"revision": last})
        return BuiltSet(document, out / inputs.name / last, (*remarks, NOTHING))
    identity = next_revision_id(read_log(log_path(path)))
    document, folder, content, left_out = _write(planned, out, identity, today, formats, step)
    entry = _entry(inputs, document, identity, today, content).model_copy(update={"repeats": repeats})
    try:
        append(log_path(inputs.path), revisions=[entry], snapshots=inputs.snapshots)
    except OutsideError as error:
        raise OutsideError(f"{error}. {folder} is not in the log: build again before you print it") from error
    return BuiltSet(document, folder, (*remarks, *left_out))


def _last(path: Path) -> str:
    """The revision whose sizes the last one has. Raises InputError where there is none."""
    log = read_log(log_path(path))
    if not log.revision:
        raise InputError(Fault("--again", "", f"{path.name} has not been built yet; build it without --again"))
    return log.revision[-1].repeats or log.revision[-1].id


def _stands(inputs: Inputs, last: Revision, out: Path, formats: frozenset[str], step: Step) -> BuiltSet | None:
    """The last revision as it is on disk, with the files of other formats added; None where a part of it is missing
    that could not be made."""
    folder = out / inputs.name / last.id
    said = [f"Nothing is new since {last.id}: {last.id} is current.", AGAIN]
    if not any(trial.revision == last.id for _, trial in inputs.log.counting()):
        said[0] = f"Nothing is new since {last.id}: {last.id} is current, and not yet tried."
    try:
        document = parse_fit((folder / "fit.json").read_bytes(), str(folder / "fit.json"))
        whole = content_of(folder, CONTENT) == last.content_hash
    except (OSError, InputError):
        whole = False
    if not whole:
        made = _rebuilt(inputs.path, out, last.id, formats, step)
        return replace(made, remarks=(*said, *made.remarks))
    if any(p.file is None and p.unchanged_since is None for p in document.positions):
        return None
    if lacking := sorted(formats - _formats_in(folder)):
        missing = formats | _formats_in(folder)
        made = _rebuilt(inputs.path, out, last.id, missing, step, like=document)
        names = " and ".join(FILES[one] for one in lacking)
        return BuiltSet(document, folder, (*said, f"{names} added to {folder}.", *made.remarks[1:]))
    return BuiltSet(document, folder, tuple(said))


def _formats_in(folder: Path) -> frozenset[str]:
    """The formats that a revision's folder holds; of a revision that made nothing, all."""
    if not any(folder.glob("parts/*.stl")):
        return frozenset(FORMATS)
    there = {"stl"}
    there |= {"3mf"} if any(folder.glob("plate-*.3mf")) else set()
    there |= {"step"} if any(folder.glob("parts/*.step")) else set()
    return frozenset(there)


def _pilot(planned: Planned) -> Planned:
    """The plan cut to the labels that are to be made alone."""
    only = planned.inputs.only
    if not only:
        return planned
    positions = tuple(one for one in planned.plan.positions if one.label in only)
    choices = {label: choice for label, choice in planned.learnt.choices.items() if label in only}
    return replace(
        planned,
        plan=replace(planned.plan, positions=positions),
        learnt=replace(planned.learnt, choices=choices),
    )


def _plan(inputs: Inputs, day: date, step: Step, out: Path) -> Planned:
    """The plan; meanwhile the kernel is loaded where it is likely to be wanted: where no shape is kept, and after a
    trial, from which sockets and sections are learnt."""
    if ShapeCache(out / SHAPES).empty() or inputs.log.counting():
        KERNEL.warm()
    step("Working out the plan", 0, 1)
    return plan_inputs(inputs, today=day)


def _rebuilt(
    path: Path,
    out: Path,
    identity: str,
    formats: frozenset[str],
    step: Step,
    like: FitDocument | None = None,
) -> BuiltSet:
    """An earlier revision from the log; says so where it does not come out the same.

    Where it stands on disk `like` that, it must come out the same: else OutsideError, and it stays as it is.
    """
    inputs, entry = gather_revision(path, identity)
    refuse_foreign(out / inputs.name, inputs)
    must = entry.content_hash if like is not None else None
    listed = bool(like.print.plates) if like is not None else "3mf" in formats
    planned = _pilot(_plan(inputs, entry.date, step, out))
    document, folder, content, left_out = _write(
        planned, out, identity, entry.date, formats, step, listed=listed, must=must
    )
    if content == entry.content_hash:
        return BuiltSet(document, folder, (f"{identity} was made again, the same to the last byte.", *left_out))
    made_by = f"partgen {entry.partgen}" if entry.partgen != __version__ else "other versions of the libraries"
    return BuiltSet(
        document,
        folder,
        (f"{identity} was made again, but not the same to the last byte: it was first built by {made_by}.", *left_out),
    )


def _write(
    planned: Planned,
    out: Path,
    identity: str,
    day: date,
    formats: frozenset[str],
    step: Step,
    *,
    listed: bool = True,
    must: str | None = None,
) -> tuple[FitDocument, Path, str, tuple[str, ...]]:
    """Make everything of one revision in its folder; the document, the folder, the content hash, what was left out.

    `listed`: whether the document names the plates that are written; `must`: the content hash that it has to have.
    """
    from partgen.jobs.report import write_report  # loads libraries that a plan need not wait for

    inputs = planned.inputs
    choices = planned.learnt.choices
    wanted = [plan for plan in planned.plan.positions if choices[plan.label].kept is None]
    stems = file_stems([plan.label for plan in planned.plan.positions], identity)
    made, failed = make_parts(
        [_marked(plan, identity) for plan in wanted],
        inputs.profile,
        inputs.printer,
        step,
        bore_error=planned.estimate.bore_error.value,
        cache=ShapeCache(out / SHAPES),
    )
    arranged = lay_out(made, inputs)
    plates = plate_names(arranged) if "3mf" in formats else ()
    facts = {label: revised(choice) for label, choice in choices.items() if choice.kept is not None}
    facts |= {label: not_built(finding) for label, finding in failed.items()}
    for label, part in made.items():
        facts[label] = replace(built_facts(part, _stl_file(stems[label])), change=choices[label].why)
    document = _document(planned, identity, day, facts, print_doc(made, inputs, arranged, plates if listed else ()))
    with staged(out, inputs.name, identity, OURS) as folder:
        refuse_foreign(folder.parent, inputs)  # once more, now that nobody else can come between
        note_origin(folder.parent, inputs)
        for done, (label, part) in enumerate(made.items()):
            step("Writing the parts", done, len(made))
            _write_part(part, folder, stems[label])
        files = {label: fact.file for label, fact in facts.items() if fact.file}
        write_orders(order_of(made, inputs, files, identity, day.isoformat()), arranged, folder)
        if plates:
            title = f"{inputs.profile.title or inputs.name} {identity}"
            about = About(title, day, application=f"partgen {__version__}")
            write_plates(made, inputs, arranged, about, stems, folder)
        left_out = _step_files(made, planned, (folder, identity), stems, day, step) if "step" in formats else ()
        write_new(folder / "fit.json", (document.model_dump_json(indent=2) + "\n").encode())
        step("Writing the report", 0, 1)
        write_report(document, made, out / inputs.name, folder)
        content = content_of(folder, CONTENT)
        if must is not None and content != must:
            raise OutsideError(f"{identity} does not come out the same any more, so nothing was added to it. {AGAIN}")
    return document, out / inputs.name / identity, content, left_out


def _step_files(*what: Any) -> tuple[str, ...]:  # noqa: ANN401 - as cad.write_step_files takes them
    from partgen.jobs.step_files import write_step_files  # loads the CAD kernel, which nothing else here needs

    return write_step_files(*what)


def _marked(plan: PositionPlan, identity: str) -> PositionPlan:
    """The plan with the revision in the part's mark, from the second one on: old and new lie side by side."""
    number = int(identity.removeprefix("r"))
    if number == 1 or not plan.model.mark:
        return plan
    return replace(plan, model=replace(plan.model, mark=f"{plan.model.mark} r{number}"))


def _stl_file(stem: str) -> str:
    """Where a part's STL lies in its revision's folder."""
    return f"parts/{stem}.stl"


def _write_part(part: MadePart, folder: Path, stem: str) -> None:
    """One STL, read back. Raises OutsideError where it reads otherwise than it was written."""
    target = folder / _stl_file(stem)
    target.parent.mkdir(exist_ok=True)
    write_stl(part.lying, target, title=stem)
    read_back(target, expected(part.lying, part.volume))


def _document(planned: Planned, identity: str, day: date, facts: dict[str, Built], printing: PrintDoc) -> FitDocument:
    return assemble(
        planned.plan,
        planned.inputs.profile,
        planned.estimate,
        planned.inputs.printer,
        replace(circumstances(planned.inputs, day), revision=identity, print=printing),
        facts,
    )


def _entry(inputs: Inputs, document: FitDocument, identity: str, day: date, content: str) -> Revision:
    profile, printer, *materials = (snapshot.hash for snapshot in inputs.snapshots)
    return Revision(
        id=identity,
        date=day,
        partgen=__version__,
        printer=inputs.printer_name,
        profile_hash=profile,
        printer_hash=printer,
        material_hashes=tuple(materials),
        seed=inputs.seed,
        draws=document.draws,
        trials_before=len(inputs.log.trial),
        confirmed_before=len(inputs.log.confirmed),
        withdrawn_before=len(inputs.log.withdrawn),
        only=inputs.only,
        content_hash=content,
        tilt_deg=document.panel.tilt_deg,
        tilt_u95_deg=document.panel.tilt_u95_deg,
        p_all_fit=document.set.p_all_fit,
        built=tuple(
            BuiltPosition(
                label=p.label,
                part=p.part,
                height_mm=p.height_mm,
                model_height_mm=p.model_height_mm,
                proud_mm=p.proud_mm,
                proud_u95_mm=p.proud_u95_mm,
                section_mm=p.section_mm,
                model_section_mm=p.model_section_mm,
                length_mm=-p.drawing.skirt_bottom,
                socket_mm=p.socket_mm,
                bore_mm=p.grip.bore_error_mm,
                state=p.state,
                made_in=p.unchanged_since or identity,
                why=p.change,
            )
            for p in document.positions
        ),
    )
