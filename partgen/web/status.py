"""What the worker works out for the page: how the panel stands, what a change would do, a solid to turn.

Module-level functions only, whose
arguments and answers travel between processes.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from pathlib import Path

from tomlkit import dumps, parse

from partgen.core.errors import InputError, PartgenError
from partgen.core.units import MM_PER
from partgen.jobs.inputs import gather, material_names, with_profile
from partgen.jobs.plan import Planned, plan_inputs
from partgen.output.result_document import CheckDoc, FitDocument
from partgen.output.status import chance_words, status
from partgen.profile.edit import Place, set_value
from partgen.profile.library import find_material
from partgen.profile.load import parse_profile
from partgen.web.fields import text_at


@dataclass(frozen=True)
class Standing:
    """A plan in short, as the page shows it while readings arrive."""

    slope: tuple[float, float] | None = None
    tilt_deg: float = 0.0
    tilt_u95_deg: float = 0.0
    p_all_fit: float | None = None
    wanted: float = 0.0
    enough: bool = False
    sentence: str = ""
    """What to do next, or that enough is measured, as everywhere."""
    states: tuple[tuple[str, str], ...] = ()
    """(label, state)"""
    next_label: str = ""
    next_what: str = ""
    next_why: str = ""
    doubts: tuple[tuple[str, str, float, str], ...] = ()
    """(label, what, reading in mm, why)"""
    advice: tuple[tuple[str, str, str, float], ...] = ()
    """(action, label, text, chance that all fit after it), best first."""
    trouble: str = ""

    @property
    def unproven(self) -> int:
        """Positions that are not proven to fit."""
        return sum(state != "pass" for _, state in self.states)


@dataclass(frozen=True)
class Preview:
    """What a change would give, for one position. `faults` alone when it cannot be."""

    faults: tuple[str, ...] = ()
    label: str = ""
    cuts: tuple[str, ...] = ()
    checks: tuple[CheckDoc, ...] = ()
    state: str = ""
    numbers: tuple[tuple[str, str], ...] = ()
    others: tuple[tuple[str, str], ...] = ()
    """(label, state) of every position."""
    seconds: float = 0.0
    p_all_fit: float = 0.0
    levers: tuple[tuple[str, tuple[str, str, str], str, str, str], ...] = ()
    """(what it does, place, what is written there, what would be, its gain) of the one change that mends most."""


def standing(path: Path, printer: str | None, seed: int) -> Standing:
    """How the panel stands with the files as they are; `trouble` where it cannot be told yet."""
    try:
        planned = plan_inputs(gather(path, printer=printer, seed=seed))
        document = planned.document
    except PartgenError as error:
        return Standing(trouble=str(error))
    after, now = document.set.next_measurement, status(document, planned.plan.next_measurement)
    return Standing(
        slope=document.panel.slope,
        tilt_deg=document.panel.tilt_deg,
        tilt_u95_deg=document.panel.tilt_u95_deg,
        p_all_fit=now.chance,
        wanted=now.wanted,
        enough=now.enough,
        sentence=now.sentence,
        states=_states(document),
        next_label=after.label if after else "",
        next_what=after.what if after else "",
        next_why=after.why if after else "",
        advice=_advice(document),
        doubts=tuple((d.label, d.what, d.reading_mm, d.why) for d in document.doubts),
    )


def _advice(document: FitDocument) -> tuple[tuple[str, str, str, float], ...]:
    """Everything that could raise the chance, where the document ranks it."""
    found = getattr(document.set, "advice", ())  # a key of the contract that older documents lack
    return tuple((one.action, one.label, one.text, one.p_all_fit_after) for one in found)


def preview(path: Path, text: str, printer: str | None, seed: int, part: str, label: str) -> Preview:
    """What a profile's text would give at a position (or the first worst of a part), without writing anything."""
    begun = time.perf_counter()
    try:
        planned = _planned(path, text, printer, seed)
    except InputError as error:
        return Preview(faults=tuple(_said(str(fault), path) for fault in error.faults))
    except PartgenError as error:
        return Preview(faults=(str(error),))
    document = planned.document
    index = _position(document, part, label)
    position = document.positions[index]
    return Preview(
        label=position.label,
        cuts=_cuts(document, index),
        checks=position.checks,
        state=position.state,
        numbers=(
            ("height, from what it sits on", f"{position.height_mm:.2f} mm"),
            ("above the panel", f"{position.proud_mm:.2f} ± {position.proud_u95_mm:.2f} mm"),
            ("section in the hole", " × ".join(f"{v:.2f}" for v in position.section_mm) + " mm"),
            ("clearance per side", f"{position.clearance_mm:.2f} mm"),
            ("if every error stood at its limit at once", f"{position.clearance_worst_mm:+.2f} mm"),
            ("chance of binding", chance_words(position.p_bind)),
            ("grip", f"{position.grip_n[0]:.1f} to {position.grip_n[1]:.1f} N to pull off"),
        ),
        others=_states(document),
        p_all_fit=document.set.p_all_fit,
        levers=_levers(path, text, printer, seed, document, index),
        seconds=time.perf_counter() - begun,
    )


HIGHER = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
"""mm: how much taller is tried where a part is not proven."""


def _levers(
    path: Path, text: str, printer: str | None, seed: int, document: FitDocument, index: int
) -> tuple[tuple[str, tuple[str, str, str], str, str, str], ...]:
    """The least more height above the panel that proves the position looked at, with how many it proves in all."""
    position = document.positions[index]
    if position.state == "pass" or not position.part:
        return ()
    place = Place("part", position.part, "proud")
    was = text_at(text, place)
    before = sum(state == "pass" for _, state in _states(document))
    profile = parse_profile(text, str(path))
    wanted = profile.part[position.part].proud / MM_PER[profile.unit]
    for more in HIGHER:
        new = f"{wanted + more / MM_PER[profile.unit]:.4g}"
        tree = parse(text.removeprefix("\ufeff"))
        set_value(place, float(new))(tree)
        try:
            after = _planned(path, dumps(tree), printer, seed).document
        except PartgenError:
            return ()
        count = sum(state == "pass" for _, state in _states(after))
        if after.positions[index].state == "pass" and count > before:
            gain = f"{before} → {count} proven"
            return (
                (
                    f"Make them {new} {profile.unit} high above the panel",
                    ("part", position.part, "proud"),
                    was,
                    new,
                    gain,
                ),
            )
    return ()


def solid_page(path: Path, text: str, printer: str | None, seed: int, part: str, label: str) -> str:
    """A page of its own that shows one position's part as it would be built, to turn and cut open."""
    from partgen.web.solid_view import page_of

    planned = _planned(path, text, printer, seed)
    label = planned.document.positions[_position(planned.document, part, label)].label
    return page_of(planned, label)


def _planned(path: Path, text: str, printer: str | None, seed: int) -> Planned:
    inputs = gather(path, printer=printer, seed=seed)
    profile = parse_profile(text, str(path))
    materials = {name: find_material(name, path) for name in material_names(profile, inputs.printer)}
    return plan_inputs(replace(with_profile(inputs, profile), materials=materials))


def _position(document: FitDocument, part: str, label: str) -> int:
    """The index of a label; else of the worst position of a part; else of the worst of all."""
    rank = {"fail": 0, "not proven": 1, "pass": 2}
    found = [i for i, p in enumerate(document.positions) if p.label == label]
    found = found or [i for i, p in enumerate(document.positions) if p.part == part]
    found = found or list(range(len(document.positions)))
    return min(found, key=lambda i: (rank[document.positions[i].state], i))


def _cuts(document: FitDocument, index: int) -> tuple[str, ...]:
    from partgen.views.provenance import Node
    from partgen.views.section_drawing import cut

    position = Node(document).positions[index]
    return tuple(str(cut(position, axis)) for axis in (0, 1))


def _states(document: FitDocument) -> tuple[tuple[str, str], ...]:
    return tuple((p.label, p.state) for p in document.positions)


def _said(fault: str, path: Path) -> str:
    return fault.removeprefix(f"{path}: ")
