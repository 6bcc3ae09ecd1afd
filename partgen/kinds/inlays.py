"""What is printed in a second colour: what fills a part's engraved letters and lines, flush with its faces."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, Literal

from partgen.core.findings import Finding, State
from partgen.design.part_models import PartModel
from partgen.geometry.features import Body, add, cut, features, keep
from partgen.kinds.block import BlockModel, line_cuts
from partgen.kinds.knob_model import KnobModel, pointer_cuts
from partgen.kinds.legend import Legend, letter_filling
from partgen.kinds.record import ColourBody

if TYPE_CHECKING:
    from partgen.geometry.height_derivation import Maker

Piece = Literal["legend", "pointer", "scale", "line"]

_NAME: dict[Piece, str] = {
    "legend": "filling of its legend",
    "pointer": "filling of its pointer",
    "scale": "filling of its scale",
    "line": "filling of its line",
}
APART: tuple[Piece, ...] = ("legend", "scale")
"""Pieces that never meet the grooves around a side: without those the kernel takes a tenth of the time and less."""

Colours = dict[Piece, tuple[str | None, bool]]
"""By piece: its colour (None: the part's own), and whether it stands on the crown."""


@dataclass(frozen=True)
class InlayModel(PartModel):
    """What fills one cut of another model."""

    of: PartModel | None = None
    piece: Piece = "legend"
    kind: str = ""
    """Of the family whose maker builds `of`."""


def inlay_of(model: PartModel, piece: Piece, kind: str) -> InlayModel:
    """The filling of a model's cut; the mark is another matter, so parts that differ in nothing else share it."""
    plain: dict[str, Any] = {f.name: getattr(model, f.name) for f in fields(PartModel)}
    bare = replace(model, mark="", mark_kind="none")
    return InlayModel(**{**plain, "mark": "", "mark_kind": "none"}, of=bare, piece=piece, kind=kind)


@features.register
def _(model: InlayModel) -> Body:
    """The filling, in one piece or several: what a plane crown lacks of its letters; of a line, what the part without
    it has in common with what cuts it; else the part without this cut, less the part with it.
    """
    of = model.of
    assert of is not None
    if model.piece in APART and hasattr(of, "grooves"):
        smooth: dict[str, Any] = {"grooves": "none"}
        of = replace(of, **smooth)
    uncut: dict[str, Any] = {model.piece: "none" if model.piece == "line" else None}
    if model.piece == "legend":
        legend: Legend = getattr(of, "legend")  # noqa: B009 - families differ in it
        if model.crown.kind in ("flat", "parallel") and not getattr(of, "hollow", 0.0):
            return Body(letter_filling(legend, model.height), _NAME[model.piece], several=True)
        uncut["legend"] = replace(legend, blank=True)  # a blank one keeps other lines away from its place
    cuts = pointer_cuts(of) if isinstance(of, KnobModel) and model.piece == "pointer" else []
    cuts = line_cuts(of) if isinstance(of, BlockModel) and model.piece == "line" else cuts
    whole = add(features(replace(of, **uncut)))
    return Body((whole, keep(*cuts) if cuts else cut(features(of))), _NAME[model.piece], several=True)


def maker() -> Maker:
    """Every filling is a build of its own."""
    from partgen.geometry.height_derivation import Maker

    return Maker()


def bodies(kind: str, model: PartModel, colours: Colours) -> tuple[ColourBody, ...]:
    """The further bodies of a part. Raised ones are what stands over the crown's plane; they are cut off there."""
    found = [
        ColourBody(piece, colour, model=inlay_of(model, piece, kind), maker=maker)
        for piece, (colour, raised) in colours.items()
        if colour is not None and not raised
    ]
    over = {piece: colour for piece, (colour, raised) in colours.items() if raised}
    chosen = next((colour for colour in over.values() if colour is not None), None)
    if chosen is not None and model.crown.kind in ("flat", "parallel"):
        found.append(ColourBody(" and ".join(over), chosen, over=(model.height, model.crown.slope)))
    return tuple(found)


def colour_finding(label: str, model: PartModel, colours: Colours) -> list[Finding]:
    """What stands on a crown can have another colour only where it is cut off by a plane, and only one."""
    over = [colour for colour, raised in colours.values() if raised]
    if not any(over):
        return []
    state: State = "pass"
    why = f"what stands on {label}'s crown is a body of its own colour"
    if model.crown.kind not in ("flat", "parallel"):
        state, why = "fail", f"what stands on {label}'s crown needs a flat crown for a colour of its own, or a groove"
    elif len(set(over)) > 1:
        state, why = "fail", f"what stands on {label}'s crown can have one colour only: give all of it the same"
    return [Finding("second-colour", label, "second colour", None, None, 0.0, "", state, why)]
