"""What is decided for each position and what is said of it, against values worked out beside the plan."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from builders import PANEL, profile_from, well_known
from plan_cases import MATERIALS, MEASURED, check, estimate_of, panel_with
from plan_shapes import PENTAGON, opening_of

from partgen.design import plan_through
from partgen.design.caps import CapSite, cap_model, collars, compensated, flange_section, printed
from partgen.design.heights import Collar, Crown, Site
from partgen.design.part_models import Section, SocketModel
from partgen.design.passage import passage
from partgen.design.plan_records import PositionPlan, SetPlan
from partgen.design.plan_set import plan_set
from partgen.design.plan_through import _chosen, _model_section
from partgen.design.revision_records import BuiltPart, Choice
from partgen.design.section_outlines import offset
from partgen.kinds.button_cap import ButtonCap
from partgen.metrology.estimate_records import Value
from partgen.metrology.student_t import K95
from partgen.profile.printer_records import PrintError, PrintErrors

WINDOW = Section("rectangle", 11.5, 6.3, 0.5)
SEAT = SimpleNamespace(outer=Section("rectangle", 3.0, 2.0))


def plan(profile, choices=None, **changes: object) -> SetPlan:
    return plan_set(profile, estimate_of(profile, **changes), MEASURED, MATERIALS, draws=400, choices=choices)  # type: ignore[arg-type]


def one_key(part: str = "", position: str = "", panel: str = "", seat: str = ""):
    text = PANEL.replace("proud = 1.5", "proud = 2.6\n" + part, 1).replace("[hole.window]", panel + "\n[hole.window]")
    text = text.replace("length = 4.2", "length = 4.2\n" + seat)
    return profile_from(text + f'[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n{position}\n')


def only(found: SetPlan) -> PositionPlan:
    (position,) = found.positions
    return position


# ---- sections -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hole", "wishes", "section"),
    [
        (WINDOW, {"section": (8.0, 4.0)}, Section("rectangle", 8.0, 4.0, 0.5)),
        (WINDOW, {"section": (8.0, 4.0), "corner_radius": 3.0}, Section("rectangle", 8.0, 4.0, 2.0)),
        (WINDOW, {"section": (4.0, 8.0), "corner_radius": 3.0}, Section("rectangle", 4.0, 8.0, 2.0)),
        (WINDOW, {"section": (8.0, 4.0), "corner_radius": 0.0}, Section("rectangle", 8.0, 4.0, 0.0)),
        (WINDOW, {"section": (8.0, 4.0), "section_shape": "slot", "corner_radius": 1.0}, Section("slot", 8.0, 4.0)),
        (Section("slot", 14.0, 8.0), {"section": (8.0, 4.0)}, Section("slot", 8.0, 4.0)),
        # what is asked for cannot be an outline, and where nothing passes the least wall around the seat is drawn
        (PENTAGON, {"section": (8.0, 4.0)}, Section("rectangle", 4.6, 3.6)),
        (WINDOW, {}, Section("rectangle", 4.6, 3.6)),
        (Section("slot", 14.0, 8.0), {}, Section("round", 4.6, 4.6)),
        (Section("round", 9.0, 9.0), {}, Section("round", 4.6, 4.6)),
        (WINDOW, {"section_shape": "round"}, Section("round", 4.6, 4.6)),
    ],
)
def test_the_section_asked_for_or_the_least_around_the_seat(hole, wishes, section):
    spec = SimpleNamespace(**{"section": None, "section_shape": None, "corner_radius": None, **wishes})
    assert _chosen(spec, opening_of(hole), SEAT, None) == section  # type: ignore[arg-type]
    if spec.section is None or hole.shape == "outline":
        assert _chosen(spec, opening_of(hole), SEAT, offset(WINDOW, 0.5)) == offset(WINDOW, 0.5)  # type: ignore[arg-type]


def kept(*section: float, accepted: bool = False) -> BuiltPart:
    return BuiltPart("S1", "r01", 5.8, 1.5, (10.0, 5.0), section, accepted=accepted)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("drawn", "made", "section"),
    [
        (Section("rectangle", 10.0, 6.0, 0.5), (10.25, 5.125), Section("rectangle", 10.25, 5.125, 0.5)),
        (Section("rectangle", 10.0, 6.0, 3.0), (10.0, 5.0), Section("rectangle", 10.0, 5.0, 2.5)),
        (Section("rectangle", 6.0, 10.0, 3.0), (5.0, 10.0), Section("rectangle", 5.0, 10.0, 2.5)),
        (Section("round", 9.0, 9.0), (8.5, 8.25), Section("round", 8.25, 8.25)),
        (Section("slot", 9.0, 7.0), (0.75, 0.5), Section("slot", 0.75, 0.5)),
        (Section("slot", 9.0, 7.0), (0.0, 5.0), Section("slot", 9.0, 7.0)),  # an older log knows none
        (Section("slot", 9.0, 7.0), (0.0, 0.0), Section("slot", 9.0, 7.0)),
        (PENTAGON, (9.0, 9.0), PENTAGON),
    ],
)
def test_a_part_that_stays_has_the_section_it_was_made_with(drawn, made, section):
    assert _model_section(drawn, Choice("S1", 5.8, kept(*made), 1.5, 0.1)) == section


def test_corners_of_a_part_that_rubbed():
    """Told to be narrower than twice its corner's radius: the corner gives way."""
    for limit, radius in (((10.0, 5.0), 2.5), ((5.0, 10.0), 2.5), ((9.0, 9.0), 3.0)):
        drawn = _model_section(Section("rectangle", 10.0, 10.0, 3.0), Choice("S1", 5.8, None, 1.5, 0.1, limit=limit))
        assert (drawn.width, drawn.depth, drawn.corner_radius) == (*limit, radius)
    whole = Section("rectangle", 10.0, 6.0, 0.5)
    assert _model_section(whole, Choice("S1", 5.8, None, 1.5, 0.1)) is whole


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        ({"kept": None}, "is too large"),
        ({"kept": (11.4, 6.25)}, "It is printed already"),
        ({"kept": (11.4, 6.25), "accepted": True}, "it was accepted when it was made"),
        ({"kept": (11.4, 6.25), "moved_freely": True}, "it was tried and moved freely"),
    ],
)
def test_what_is_said_of_binding_depends_on_what_became_of_the_part(choice, words):
    """A section of 11.4 x 6.25 in a hole a tenth wider binds about always; wanted at most 45 in 100."""
    profile = one_key("p_bind = 0.45\nsection = [11.46, 6.31]")
    made = choice.get("kept")
    part = None if made is None else kept(*made, accepted=choice.get("accepted", False))
    chosen = Choice("S1", 6.8, part, 2.6, 0.1, moved_freely=choice.get("moved_freely", False))
    found = check(only(plan(profile, {"S1": chosen})), "bind")
    assert found.value is not None and found.value > 0.5
    for other in ("is too large", "It is printed already", "it was accepted when it was made", "moved freely"):
        assert (other in found.why) == (other in words), found.why
    assert "is too large" in check(only(plan(profile)), "bind").why


def test_the_largest_section_is_told_beside_the_one_asked_for():
    asked, best = only(plan(one_key("section = [9.0, 5.0]"))), only(plan(one_key()))
    assert (asked.section.width, asked.section.depth) == (9.0, 5.0)
    assert asked.largest_section == best.largest_section == best.section != asked.section
    closed = only(plan(one_key('section_shape = "round"', "offset_limit = 2.8")))
    assert closed.largest_section == closed.section == Section("round", *(pytest.approx(3.29 + 1.6, abs=1e-3),) * 2)
    assert "no section is small enough" in check(closed, "bind").why


@pytest.mark.parametrize(("wall", "taken"), [(0.25, False), (0.29, False), (0.31, True), (0.5, True)])
def test_a_third_of_a_millimetre_of_wall_is_the_least(wall, taken, monkeypatch):
    """A section that leaves less around the seat is none, whatever the hole would let through."""
    around = Section("round", 3.0 + 2 * wall, 3.0 + 2 * wall)
    monkeypatch.setattr(plan_through, "largest", lambda *_: around)
    spec = SimpleNamespace(p_bind=0.001, section_shape=None, corner_radius=None, equal=True)
    seat = SimpleNamespace(outer=Section("round", 3.0, 3.0))
    job = SimpleNamespace(draws=None)
    assert plan_through._largest(job, spec, seat, ["A", "B"]) == [around if taken else None] * 2  # type: ignore[arg-type,list-item]


def test_a_passage_is_drawn_within_four_micrometres():
    """And no finer: it is for the eye."""
    text = PANEL + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "dot"\ndrop = 4.3\n'
    p = only(plan(profile_from(text), slope=(0.05, 0.02)))
    fine = shapely.Polygon(passage(p.hole_section, p.slope, p.thickness, p.offset, tolerance=1e-5))
    drawn = shapely.Polygon(p.passage)
    assert 0.0005 < shapely.hausdorff_distance(drawn, fine, densify=0.05) <= 0.0045
    assert 20 < len(p.passage) < 120


# ---- heights and collars ---------------------------------------------------------------------------


def test_a_plan_draws_a_hundred_thousand_times_unless_told():
    profile = one_key()
    found = plan_set(profile, estimate_of(profile), MEASURED, MATERIALS)
    assert (found.draws, found.seed) == (100_000, 0)


def test_only_a_height_that_somebody_forced_is_called_forced():
    own, parts = "height = 8.1", "height = 8.1"
    for profile in (one_key(position=own), one_key(part=parts)):
        assert "its height is forced" in check(only(plan(profile)), "proud").why
    wish = check(only(plan(one_key("proud_tolerance = 0.01"))), "proud")
    assert wish.state == "fail" or "forced" not in wish.why
    assert "forced" not in check(only(plan(one_key("proud_tolerance = 0.01"), u=0.0)), "proud").why


@pytest.mark.parametrize("unread", [False, True])
@pytest.mark.parametrize("assumed", [False, True])
def test_what_to_measure_is_what_was_not_read_or_only_assumed(unread, assumed):
    profile = one_key()
    if assumed:
        profile = profile.model_copy(update={"panel": profile.panel.model_copy(update={"thickness_limit": 0.5})})
    names = ("S1",) if unread else ()
    found = only(plan(profile, u=1.2, unmeasured=names))
    for code in ("proud", "pressed", "flange-rest"):
        why = check(found, code).why
        words = "measure its drop, which was not read" if unread else "measure this drop again"
        assert words in why or words.capitalize() in why, why
    thin = only(plan(profile, thickness=Value(2.03, 1.0)))
    for code in ("pressed", "flange-rest"):
        assert ("which is only assumed" in check(thin, code).why) == assumed, check(thin, code).why


def test_where_the_crown_is_when_pressed_is_proud_less_travel():
    p = only(plan(one_key()))
    assert f"crown is {abs(p.proud - 2.4):.2f} mm" in check(p, "pressed").why
    assert p.proud_pressed == pytest.approx(p.proud - 2.4)


def test_uncertainties_of_heights_combine_as_root_sums():
    """Proud's own, the travel's and the panel's thickness, each expanded; the seat's body and its travel below."""
    profile = one_key(seat="body = 6.0")
    p = only(plan(profile))
    travel = profile.seat["plunger"].travel
    thick = K95 * 0.02
    assert check(p, "flange-rest").u95 == pytest.approx(math.hypot(p.proud_u95, thick))
    pressed = check(p, "pressed").u95
    stroke = math.sqrt(pressed**2 - p.proud_u95**2 - thick**2)
    body = K95 * profile.caliper.limit_of_error
    assert stroke > 0 and len(travel.values) == 1
    assert check(p, "flange-travel").u95 == pytest.approx(math.hypot(stroke, body))


def test_no_room_for_a_collar_tells_how_much_there_is():
    """Panel's underside at its lowest corner, less the socket's lower end, less the gap wanted."""
    p = only(plan(one_key("flange_thickness = 9.0"), slope=(0.05, 0.03)))
    expected = printed(p.model_section, 0.06)
    half = np.array([expected.width, expected.depth]) / 2
    corner = expected.corner_radius
    fall = float(np.array([0.05, 0.03]) @ (half - corner)) + corner * math.hypot(0.05, 0.03)
    under = p.drop - 2.03 * math.sqrt(1 + 0.05**2 + 0.03**2) - fall
    found = check(p, "flange-rest")
    assert found.value == pytest.approx(under + p.model.socket.length - 0.4, abs=1e-6)
    assert (found.limit, found.state) == (9.0, "fail")


def codes(found: SetPlan) -> set[str]:
    return {f.code for f in only(found).checks}


def test_only_captive_caps_with_a_collar_are_asked_whether_they_come_off():
    assert "grip-lift" in codes(plan(one_key('grip = "captive"')))
    assert "grip-lift" not in codes(plan(one_key('grip = "captive"\nflange_thickness = 9.0')))
    assert "grip-lift" not in codes(plan(one_key()))
    assert "flange-travel" in codes(plan(one_key())) and "flange-travel" in codes(plan(one_key(seat="body = 6.0")))


# ---- the set ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("flange", [True, False])
def test_neighbours_are_compared_at_their_widest(flange):
    """With collars: the hole's own 11.51 and twice 0.55, 0.8 apart; else the sections."""
    rows = "".join(f'[[position]]\nlabel = "S{k}"\nat = [{k * 13.41}, 0]\npart = "key"\ndrop = 4.3\n' for k in range(2))
    text = PANEL.replace("proud = 1.5", f"proud = 2.6\nflange = {str(flange).lower()}", 1)
    found = plan(profile_from(text + rows), slope=(0.0, 0.0))
    wide = 12.61 if flange else found.positions[0].section.width
    for p in found.positions:
        assert check(p, "neighbours").value == pytest.approx(13.41 - wide, abs=1e-6)
        assert p.checks[-1].code == "neighbours"


def test_touching_neighbours_fail_what_passed_alone():
    rows = '[[position]]\nlabel = "S2"\nat = [12.6, 0]\npart = "key"\ndrop = 4.3\n'
    panel = well_known(panel_with(positions=rows.replace("S2", "S9")))
    first, second = plan(panel, slope=(0.0, 0.0)).positions[::3]
    assert first.state == second.state == "fail" and check(first, "neighbours").state == "fail"
    assert {f.state for f in first.checks if f.code != "neighbours"} == {"pass"}


def test_patterns_for_copies_that_shrink_are_noted():
    assert not any("pattern" in note for note in plan(one_key()).notes)
    (note,) = (note for note in plan(one_key("shrinkage = 0.004")).notes if "pattern" in note)
    assert "1.0040 times as large" in note and "0.4 %" in note


@pytest.mark.parametrize(("gap", "noted"), [(0.55, False), (0.64, True)])
def test_a_gap_beside_one_cap_is_noted_from_six_tenths_on(gap, noted):
    """Two caps, the first drawn for a level place, the second where the panel leaves it less."""
    wide, deep = 11.51 - 0.06 - 2 * gap, 6.32 - 0.06 - 2 * gap
    profile = one_key(f"section = [{wide + 0.06:.4f}, {deep + 0.06:.4f}]\nequal = false")
    notes = [n for n in plan(profile, slope=(0.0, 0.0)).notes if "gap beside" in n]
    assert bool(notes) == noted


def test_the_widest_gap_and_its_cap_are_named():
    """The middle one of three has its hole straight over its seat, the others 0.7 aside."""
    row = '[[position]]\nlabel = "{}"\nat = [{}, 0]\npart = "key"\ndrop = 4.3\noffset = [{}, 0.0]\n'
    text = PANEL.replace("proud = 1.5", "proud = 2.6\nsection = [9.9, 4.9]", 1)
    text += row.format("A", 0, 0.7) + row.format("B", 20, 0.0) + row.format("C", 40, 0.7)
    found = plan(profile_from(text), slope=(0.0, 0.0))
    gaps = {p.label: p.clearance.nominal for p in found.positions}
    assert gaps["A"] == gaps["C"] < 0.2 and gaps["B"] == pytest.approx(0.71, abs=0.006)
    (note,) = (n for n in found.notes if "gap beside" in n)
    assert f"up to {gaps['B']:.2f} mm per side (B)" in note


# ---- caps ------------------------------------------------------------------------------------------


def test_drawn_sizes_are_round_numbers():
    """Sums of hundredths come out as the nearest float to their decimal, so that equal caps are equal."""
    for k in range(1, 60):
        drawn = compensated(Section("rectangle", 5.0 + 0.01 * k, 9.0 - 0.01 * k, 0.5), 0.0301)
        collar = flange_section(Section("rectangle", 5.0 + 0.0137 * k, 9.0 - 0.0137 * k, 0.1 * k / 7), 0.55)
        for value in (drawn.width, drawn.depth, collar.width, collar.depth):
            assert value == float(f"{value:.2f}")
        assert collar.corner_radius == float(f"{collar.corner_radius:.4f}")
    # the deviation from what is wanted is never more than a hundredth below, or half a hundredth for collars
    assert collar.width == pytest.approx(5.0 + 0.0137 * 59 + 1.1, abs=0.00501)


SOCKET = SocketModel("rectangle", 3.3, 3.3, 3.8, 1.2)
BARE = PrintErrors(hole=PrintError(), peg=PrintError(), wall=PrintError(), height=PrintError(), flare=PrintError())
PRINTER = MEASURED.model_copy(update={"error": BARE})


def cap_site(drop: float, length: float = 3.8, slope=(0.0, 0.0)) -> CapSite:
    stands = Site(drop, slope, 2.0, 2.4, 4.2, None)
    crown = Crown(drop + 2.5, drop + 2.5000004, 2.5)
    return CapSite("S1", stands, crown, offset(WINDOW, 0.4), replace(SOCKET, length=length))


def test_a_cap_lifted_as_far_as_its_socket_holds_shares_its_neighbours_collar():
    """Collar tops lie on layers of 0.2; of a socket 3.8 deep 1.0 stays on the seat: lifted by 2.8 at most."""
    spec = ButtonCap.model_validate({"kind": "button-cap", "hole": "h", "seat": "s"})
    flange = flange_section(WINDOW, 0.55)
    low = cap_site(4.4)
    (own,) = collars([low], spec, flange, PRINTER)
    assert own is not None
    for more, shares in ((0.2, True), (2.0, True), (2.4, own.lift + 2.4 <= 2.8), (2.6, False), (3.0, False)):
        first, second = collars([low, cap_site(4.4 + more)], spec, flange, PRINTER)
        assert first is not None and second is not None
        assert (second.top == pytest.approx(first.top)) == shares, more
        assert second.lift == pytest.approx(own.lift + (more if shares else 0.0))
        assert second.rest_gap == pytest.approx(own.rest_gap + (more if shares else 0.0))


def test_a_drawn_cap_is_told_in_round_numbers():
    spec = ButtonCap.model_validate({"kind": "button-cap", "hole": "h", "seat": "s", "crown": "parallel",
                                     "edge_radius": 5.0})  # fmt: skip
    cap = cap_site(4.3, slope=(0.0123456, -0.0004))
    narrow = Section("rectangle", 3.37, 9.0)
    model = cap_model(cap, spec, WINDOW, None, narrow, 0.0, PRINTER)
    assert model.height == 6.8 and model.crown.slope == (0.012, 0.0)
    assert str(model.crown.slope[1]) == "0.0"  # no minus nought, which would be another shape
    assert model.crown.edge_radius == 1.52  # 0.45 of the narrow side, in hundredths
    assert model.flange is None
    held = cap_model(cap, spec, WINDOW, Collar(1.4000004, 0.5, 0.5), narrow, 0.0, PRINTER).flange
    assert held is not None and held.top == 1.4
