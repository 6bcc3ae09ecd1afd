"""Marks: cut where they can be seen in the hand, readable from below, all different, the mesh still whole."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from cap_models import OUTLINE, RECTANGLE, ROUND, SOCKETS, WIDE, assert_whole, cap
from hypothesis import given, settings
from hypothesis import strategies as st

from partgen.design.part_models import CapModel
from partgen.geometry.build_mesh import build_caps
from partgen.geometry.glyphs import STEM, lay_out
from partgen.geometry.label_placement import MARGIN, Field
from partgen.geometry.mesh_faces import down_faces
from partgen.geometry.mesh_records import CHORD, BuiltCap


def built(*labels: str, kind: str = "sunk", model: CapModel | None = None) -> list[BuiltCap]:
    made = build_caps([replace(model or cap(), mark=label, mark_kind=kind) for label in labels])
    assert all(isinstance(b, BuiltCap) for b in made)
    return list(made)  # type: ignore[arg-type]


LABELS = ["S1", "T-12", "8", "Höhe 3", "Ж", "%", "é", "a b", "R/L"]


@pytest.mark.parametrize("kind", ["sunk", "raised"])
@pytest.mark.parametrize("collar", [True, False])
def test_a_marked_cap_is_whole_and_lost_exactly_its_marks_volume(kind: str, collar: bool) -> None:
    plain = built("", model=cap(collar=collar))[0]
    for b in built(*LABELS, kind=kind, model=cap(collar=collar)):
        assert_whole(b.mesh)
        assert b.engraving.volume > 0.05
        assert plain.mesh.volume - b.mesh.volume == pytest.approx(b.engraving.volume, rel=1e-9)
        assert b.volume == pytest.approx(plain.volume - b.engraving.volume)
        assert b.mesh.bounds == pytest.approx(plain.mesh.bounds, abs=1e-12)  # a mark never sticks out


@pytest.mark.parametrize("section", [ROUND, RECTANGLE, OUTLINE, WIDE], ids=lambda s: s.shape)
def test_marks_lie_inside_their_face_clear_of_its_edges(section) -> None:
    for b in built("S1", "12", model=cap(section)):
        plain = built("", model=cap(section))[0]
        face = next(f for f in down_faces(plain.mesh) if abs(f.z - b.engraving.z) < 1e-9)
        room = shapely.Polygon(
            plain.mesh.vertices[face.loops[0], :2], [plain.mesh.vertices[h, :2] for h in face.loops[1:]]
        )
        mark = shapely.union_all([shapely.Polygon(loops[0], loops[1:]) for loops in b.engraving.outlines])
        assert room.contains(mark)
        assert room.boundary.distance(mark) >= MARGIN - 1e-6


def test_a_mark_reads_the_right_way_round_from_below() -> None:
    """An L, seen with x to the left as from below, has its weight at the lower left, like the letter itself."""
    b = built("L", model=cap(WIDE))[0]
    loop = np.array(b.engraving.outlines[0][0]) * (-1.0, 1.0)
    letter = shapely.Polygon(loop)
    original = shapely.Polygon(lay_out(("L",)).areas[0].outer)
    scale = np.sqrt(letter.area / original.area)
    middle = np.array(letter.envelope.centroid.coords[0])
    assert np.array(letter.centroid.coords[0]) - middle == pytest.approx(
        scale * np.array(original.centroid.coords[0]), abs=1e-6
    )


def test_strokes_are_never_thinner_than_what_prints() -> None:
    for stroke in (0.3, 0.45):
        for b in built("I", "S12", "Channel 7", model=cap(mark_stroke=stroke)):
            letters = shapely.union_all([shapely.Polygon(loops[0], loops[1:]) for loops in b.engraving.outlines])
            assert not letters.buffer(-0.45 * stroke).is_empty
            block = lay_out((b.engraving.text,)) if " " not in b.engraving.text else None
            if block:
                assert np.sqrt(letters.area / sum(a.size for a in block.areas)) * STEM >= stroke - 1e-9


def test_long_labels_are_shortened_and_said_and_stay_distinct() -> None:
    labels = ["Channel A coarse", "Channel A fine", "Channel B coarse", "S1", "s1", "x" * 40, "y" * 40, "中文", "☃" * 9]
    marks = built(*labels)
    texts = [b.engraving.text for b in marks]
    assert len(set(texts)) == len(texts)
    assert all(texts)
    for label, b in zip(labels, marks, strict=True):
        assert (b.engraving.text == label) != bool(b.engraving.note)
        assert not b.engraving.note or (label in b.engraving.note and b.engraving.text in b.engraving.note)


def test_a_short_label_keeps_its_name_whatever_a_long_one_would_shorten_to() -> None:
    marks = built("Channel A coarse", "CAc")
    assert marks[1].engraving.text == "CAc"
    assert marks[0].engraving.text != "CAc"


def test_a_revision_is_the_first_thing_to_go_and_never_makes_one_label_read_as_another() -> None:
    small = cap(ROUND, socket=SOCKETS["round"], mark_stroke=0.42)
    texts = [b.engraving.text for b in built("S1 r2", "S2 r2", "S12 r3", model=small)]
    assert texts[:2] == ["S1", "S2"]
    assert len(set(texts)) == 3
    assert built("S1 r2", model=cap())[0].engraving.text == "S1 r2"


def test_where_nothing_fits_the_cap_is_made_without_a_mark_and_says_so() -> None:
    tiny = cap(replace(ROUND, width=4.4, depth=4.4), collar=False, socket=SOCKETS["round"], mark_stroke=0.7)
    b = built("S12", model=tiny)[0]
    assert b.engraving.text == ""
    assert "S12 has no mark" in b.engraving.note
    assert_whole(b.mesh)


def test_no_mark_is_asked_for_and_none_is_made() -> None:
    b = built("S1", kind="none")[0]
    assert (b.engraving.text, b.engraving.note) == ("", "")


@settings(max_examples=25)
@given(st.lists(st.text(min_size=1, max_size=40), min_size=1, max_size=4, unique=True))
def test_any_labels_make_whole_meshes_with_marks_all_different(labels: list[str]) -> None:
    made = build_caps([_shared(label) for label in labels])
    texts = [b.engraving.text for b in made if b.engraving.text]
    assert len(set(texts)) == len(texts)
    for b in made:
        assert_whole(b.mesh)
        assert abs(b.mesh.volume - b.volume) < b.mesh.area * CHORD


def _shared(label: str) -> CapModel:
    return cap(mark=label, mark_kind="sunk")


def test_a_field_finds_the_largest_rectangle() -> None:
    """In a 10 x 4 face less margins, a 2 : 1 block grows to 7 : 3.5 = 2 x (4 - 2 margins)."""
    field = Field((np.array([[-5.0, -2.0], [5.0, -2.0], [5.0, 2.0], [-5.0, 2.0]]),))
    place = field.place(2.0, 1.0, 0.5, 10.0)
    assert place is not None
    assert place.turn == 0.0
    assert place.scale == pytest.approx(4.0 - 2 * MARGIN, rel=0.06)
    assert field.place(1.0, 2.0, 0.5, 10.0).turn == pytest.approx(np.pi / 2)
    assert field.place(2.0, 1.0, 4.0, 10.0) is None
