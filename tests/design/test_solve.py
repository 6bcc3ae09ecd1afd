"""A whole set's plan: what every number of it must keep, on panels with known truth."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from builders import PANEL, profile_from, tilted_panel, well_known
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import MATERIALS, MEASURED, PLASTIC, check, estimate_of, panel_with, plan

from partgen.core.errors import ProfileError
from partgen.core.findings import worst
from partgen.design.passage import room
from partgen.design.plan_set import plan_set
from partgen.design.plan_through import WIDE_GAP
from partgen.metrology.estimate_records import NextMeasurement, Value
from partgen.profile.fields import Reading
from partgen.profile.part_records import PartSpec
from partgen.profile.printer_records import Material, PrintError


def test_every_height_is_drop_plus_proud_on_the_layers():
    profile = tilted_panel()
    for p, drop in zip(plan(profile).positions, estimate_of(profile).drop, strict=True):
        assert p.height == pytest.approx(drop + 1.5)
        assert p.model_height == pytest.approx(round(p.model_height / 0.2) * 0.2)
        assert abs(p.model_height - (p.height - 0.04)) <= 0.1 + 1e-9
        assert p.proud == pytest.approx(p.model_height + 0.04 - drop)
        assert p.proud_u95 == pytest.approx(1.96 * math.sqrt(0.02**2 + 0.02**2 + 0.02**2), rel=1e-3)
        assert p.proud_pressed == pytest.approx(p.proud - p.travel)
        assert p.model.height == pytest.approx(p.model_height)


def test_a_well_measured_set_passes_everything():
    found = plan(well_known(panel_with()))
    assert {p.state for p in found.positions} == {"pass"}, [
        (f.subject, f.code, f.why) for p in found.positions for f in p.checks if f.state != "pass"
    ]
    assert found.p_all_fit > 0.99


def test_sections_are_equal_compensated_and_clear():
    """One section for the row, drawn 0.06 smaller, printing to what clearance.nominal was worked out for."""
    found = plan(panel_with())
    assert len({p.section for p in found.positions}) == 1 == len({p.model_section for p in found.positions})
    for p in found.positions:
        assert p.section == p.largest_section
        assert p.section.width - p.model_section.width == pytest.approx(0.06, abs=0.0101)
        expected = replace(p.model_section, width=p.model_section.width + 0.06, depth=p.model_section.depth + 0.06)
        assert p.clearance.nominal == pytest.approx(room(p.hole_section, p.slope, p.thickness, expected), abs=1e-4)
        assert p.clearance.model_nominal == pytest.approx(p.clearance.nominal + 0.03, abs=1e-3)
        assert p.clearance.model_rocked == p.clearance.model_nominal  # ribs hold without slop
        assert p.clearance.worst < p.clearance.rss < p.clearance.nominal
        assert p.clearance.p_bind <= 1e-3
    assert max(p.clearance.p_bind for p in found.positions) > 1e-4  # and it is the largest that does


def test_unequal_sections_are_never_smaller():
    slope = (0.03, 0.0)
    equal, own = plan(panel_with(), slope=slope), plan(panel_with("equal = false"), slope=slope)
    for p, q in zip(equal.positions, own.positions, strict=True):
        assert q.section.width >= p.section.width and q.section.depth >= p.section.depth
    assert own.positions[0].section.width > own.positions[-1].section.width  # nearer the panel, less lean


def test_a_section_asked_for_is_honoured_and_judged():
    """The hole 0.02 wider than the section: every position fails, and says what would do."""
    found = plan(panel_with("section = [11.49, 6.3]"))
    for p in found.positions:
        assert (p.section.width, p.section.depth) == (11.49, 6.3)
        assert p.state == "fail" and check(p, "bind").state == "fail"
        assert f"{p.largest_section.width:.2f} x" in check(p, "bind").why and p.label in check(p, "bind").why
        assert check(p, "clearance").state == "fail"
    assert found.p_all_fit < 0.01


def test_a_uniform_height_is_reported_position_by_position():
    """The mistake of taking a panel for parallel: sunk at the low end, too proud at the high end."""
    profile = panel_with("height = 7.0", slope=(0.03, 0.0))
    found = plan(profile, slope=(0.03, 0.0))
    first, middle, last = (check(p, "proud") for p in found.positions)
    assert (first.state, middle.state, last.state) == ("pass", "fail", "fail")
    assert "S3" in last.why and "too deep" in last.why and "height is forced" in last.why
    drops = estimate_of(profile, slope=(0.03, 0.0)).drop
    assert [p.proud for p in found.positions] == pytest.approx([7.0 + 0.04 - d for d in drops])
    high = plan(panel_with("height = 9.4"), slope=(0.03, 0.0)).positions[0]
    assert "too proud" in check(high, "proud").why


def test_one_positions_own_height_and_proud_come_first():
    more = '[[position]]\nlabel = "S4"\nat = [60, 0]\npart = "key"\ndrop = 4.3\nproud = 3.4\n'
    more += '[[position]]\nlabel = "S5"\nat = [80, 0]\npart = "key"\ndrop = 4.3\nheight = 7.0\n'
    found = plan(panel_with(positions=more), slope=(0.0, 0.0))
    assert [p.height for p in found.positions] == pytest.approx([6.9, 6.9, 6.9, 7.7, 7.0])
    assert found.positions[3].proud_wanted == 3.4
    assert "forced" not in check(found.positions[3], "proud").why


def test_flange_stays_under_the_slanted_panel():
    for p in plan(panel_with(), slope=(0.05, 0.03)).positions:
        flange = p.model.flange
        assert flange is not None and flange.bottom == p.model.skirt_bottom == -p.model.socket.length
        low = p.drop - p.thickness * math.sqrt(1 + 0.05**2 + 0.03**2) - 0.05 * 6.3 - 0.03 * 3.7
        assert flange.top <= low - 0.4 + 0.03
        assert check(p, "flange-rest").value == pytest.approx(low - flange.top, abs=0.03)


def test_captive_caps_cannot_leave_their_seats():
    for p in plan(panel_with('grip = "captive"'), slope=(0.05, 0.0)).positions:
        assert check(p, "grip-lift").state == "pass"
        assert p.clearance.model_rocked == p.clearance.model_nominal  # guided by the hole


@pytest.mark.parametrize(
    ("proud", "height"), [(1.2, 5.5), (2.6, 6.3)], ids=["top reaches the rim", "rim below the top"]
)
def test_slop_takes_room_where_the_part_touches(proud: float, height: float) -> None:
    """An elastic ring leaves play: c (1/2 + h/G) of the room as drawn at the highest contact over the stroke."""
    deep = PANEL.replace("length = 4.0", "length = 4.0\nbody = 6.5")
    ring = deep.replace("proud = 1.2", f'proud = {proud}\ngrip = "ring"')
    (p,) = plan(
        profile_from(ring + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "dot"\ndrop = 4.3\n'), slope=(0.0, 0.0)
    ).positions
    assert p.grip.kind == "ring" and p.grip.slop > 0.1
    taken = p.clearance.model_nominal - p.clearance.model_rocked
    assert taken == pytest.approx(p.grip.slop * (0.5 + height / p.model.socket.length), rel=0.04)
    assert p.clearance.nominal - p.clearance.rss > taken  # and it counts in full in the limits


def test_no_room_for_a_collar_is_said():
    found = plan(panel_with("flange_thickness = 8.0"))
    assert all(check(p, "flange-rest").state == "fail" and p.model.flange is None for p in found.positions)
    none = plan(panel_with("flange = false"))
    assert all("flange-rest" not in {f.code for f in p.checks} and p.model.flange is None for p in none.positions)


def test_what_lies_below_is_kept_clear():
    text = {"length = 4.2": "length = 4.2\nbody = 6.0"}
    profile = profile_from(
        _replaced(PANEL, text) + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'
    )
    (p,) = plan(profile).positions
    assert p.model.skirt_bottom == pytest.approx(-3.2)  # 6.0 - 2.4 - 0.3 on layers
    assert check(p, "flange-travel").value == pytest.approx(0.4)


def _replaced(text: str, changes: dict[str, str]) -> str:
    for old, new in changes.items():
        text = text.replace(old, new)
    return text


def test_a_hole_too_small_for_any_section_fails_and_is_still_planned():
    text = _replaced(PANEL, {"width = [11.52, 11.50]": "width = 3.9", "depth = [6.31, 6.33]": "depth = 3.9"})
    (p,) = plan(profile_from(text + '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n')).positions
    assert p.state == "fail"
    assert check(p, "bind").value > 0.9 and "no section is small enough" in check(p, "bind").why
    assert p.section.width == pytest.approx(3.29 + 1.6)


def test_state_is_the_worst_of_its_checks():
    for p in plan(tilted_panel()).positions:
        assert p.state == worst(f.state for f in p.checks)
        assert {f.subject for f in p.checks} == {p.label}
        assert all(f.why and f.name for f in p.checks)


def test_neighbours_that_overlap_fail():
    more = '[[position]]\nlabel = "X"\nat = [12.0, 0]\npart = "key"\ndrop = 4.3\n'
    found = {p.label: p for p in plan(panel_with(positions=more)).positions}
    assert check(found["X"], "neighbours").state == "fail" == found["S1"].state
    assert "S1" in check(found["X"], "neighbours").why or "S2" in check(found["X"], "neighbours").why


def test_equal_input_and_seed_give_an_equal_plan():
    profile = tilted_panel(part="dot")
    assert plan(profile, seed=5) == plan(profile, seed=5)
    other = plan(profile, seed=6)
    assert other.positions[0].clearance.p_bind != plan(profile, seed=5).positions[0].clearance.p_bind


def test_the_order_of_positions_does_not_matter():
    profile = tilted_panel(n=4)
    turned = profile.model_copy(update={"position": profile.position[::-1]})
    one, two = plan(profile), plan(turned)
    assert {p.label: p for p in one.positions} == {p.label: p for p in two.positions}
    assert two.p_all_fit == pytest.approx(one.p_all_fit, abs=1e-12)


def test_more_positions_do_not_change_a_positions_draws():
    few, many = plan(tilted_panel(n=2)), plan(tilted_panel(n=8))
    explicit = "section = [10.9, 5.7]"
    few, many = (
        plan(profile_from(_replaced(PANEL, {"proud = 1.5": "proud = 1.5\n" + explicit}) + _rows(n))) for n in (2, 6)
    )
    for p, q in zip(few.positions, many.positions, strict=False):
        assert p.clearance.p_bind == q.clearance.p_bind


def _rows(n: int) -> str:
    return "".join(f'[[position]]\nlabel = "S{i}"\nat = [{20 * i}, 0]\npart = "key"\ndrop = 4.3\n' for i in range(n))


def test_p_all_fit_counts_shared_causes_once():
    """With only the print's width uncertain, all positions touch together: the set's chance is the worst
    position's, far from the product."""
    section = 'section = [11.4, 6.2]\ngrip = "glue"'
    text = _replaced(
        PANEL,
        {"proud = 1.5": "proud = 2.6\n" + section, "corner_radius = 0.5": "corner_radius = 0.5\noffset_limit = 0.0001"},
    )
    text = _replaced(text, {"length = 4.2": "length = 4.2\nplay = 0.0"})
    printer = MEASURED.model_copy(
        update={"error": MEASURED.error.model_copy(update={"peg": PrintError(value=0.0, u=0.05)})}
    )
    profile = profile_from(text + _rows(12))
    estimate = estimate_of(profile, slope=(0.0, 0.0), width_error=Value(0.0, 0.05), slope_cov=np.zeros((2, 2)))
    found = plan_set(profile, estimate, printer, MATERIALS, draws=20_000)
    alone = [p.clearance.p_bind for p in found.positions]
    assert 0.01 < max(alone) < 0.4
    assert 1 - found.p_all_fit == pytest.approx(max(alone), rel=0.02)


def test_independent_places_multiply():
    """With only the holes' places uncertain, positions are independent: the set's chance is the product."""
    section = 'section = [11.1, 5.9]\ngrip = "glue"'
    text = _replaced(PANEL, {"proud = 1.5": "proud = 2.6\n" + section, "length = 4.2": "length = 4.2\nplay = 0.0"})
    text = _replaced(
        text, {"[panel]": "[caliper]\nlimit_of_error = 0.0001\nrepeatability = 0.0001\nresolution = 0.001\n[panel]"}
    )
    text = _replaced(text, {"width = [11.52, 11.50]": "width = 11.5", "depth = [6.31, 6.33]": "depth = 6.3"})
    profile = profile_from(text + _rows(6))
    estimate = estimate_of(profile, slope=(0.0, 0.0), width_error=Value(0.0, 0.0), slope_cov=np.zeros((2, 2)))
    found = plan_set(profile, estimate, MEASURED, MATERIALS, draws=50_000)
    product = math.prod(1 - p.clearance.p_bind for p in found.positions)
    assert 0.1 < product < 0.9
    assert found.p_all_fit == pytest.approx(product, abs=0.02)


def test_what_the_set_carries():
    measurement = NextMeasurement("S2", "drop", "because", 0.1)
    found = plan(tilted_panel(), seed=3, next_measurement=measurement)
    assert (found.title, found.printer, found.seed, found.draws) == ("Test panel", "bench", 3, 4000)
    assert found.next_measurement is measurement
    assert "from the estimate" in found.notes and len(found.notes) == len(set(found.notes))
    low = tilted_panel()
    seat = low.seat["plunger"].model_copy(update={"height": Reading((4.0,), (0.0,))})
    found = plan(low.model_copy(update={"seat": {**low.seat, "plunger": seat}}), seed=3)
    assert any("[seat.plunger] has no body: the board was taken" in note for note in found.notes)


def test_a_wide_gap_is_noted_with_what_would_narrow_it():
    narrow, wide = plan(panel_with()), plan(panel_with("section = [9.9, 4.9]"))
    assert not any("gap" in note for note in narrow.notes)
    (note,) = [note for note in wide.notes if "gap" in note]
    assert max(p.clearance.nominal for p in wide.positions) > WIDE_GAP
    assert f"{max(p.clearance.nominal for p in wide.positions):.2f} mm" in note and "offset" in note


def test_a_round_seat_does_not_hold_a_direction():
    text = _replaced(PANEL, {'seat = "plunger"': 'seat = "pin"'})
    row = '[[position]]\nlabel = "S1"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'
    assert any("turn each by hand" in note for note in plan(profile_from(text + row)).notes)
    assert not any("turn each by hand" in note for note in plan(profile_from(PANEL + row)).notes)


def test_materials_by_name_or_by_call():
    profile = tilted_panel(n=2)
    asked = []

    def material(name: str) -> Material:
        asked.append(name)
        return PLASTIC

    estimate = estimate_of(profile)
    assert plan_set(profile, estimate, MEASURED, material, draws=500) == plan_set(
        profile, estimate, MEASURED, MATERIALS, draws=500
    )
    assert set(asked) == {"PLA"}


def test_a_kind_that_passes_no_hole_is_refused():
    class Other(PartSpec):
        kind: str = "other"

    profile = tilted_panel(n=1)
    other = profile.model_copy(
        update={"part": {**profile.part, "key": Other(kind="other", hole="window", seat="plunger")}}
    )
    with pytest.raises(ProfileError, match=r"\[part\.key\] kind"):
        plan(other)


@pytest.mark.parametrize(("crown", "soft"), [("flat", 0.4), ("domed", 0.9), ("dished", 0.4), ("parallel", 0.4)])
def test_what_the_crown_takes_from_the_guide(crown, soft):
    """Edge radius 0.4, a dome's rise 0.5: straight skirt left when pressed is less by both."""
    (p, *_) = plan(panel_with(f'crown = "{crown}"\ncrown_rise = 0.5'), slope=(0.0, 0.0)).positions
    top = p.drop + p.proud - soft - p.travel
    assert check(p, "pressed").value == pytest.approx(top - (p.drop - p.thickness), abs=1e-6)
    assert check(p, "roof").value == pytest.approx(p.model_height - (0.5 if crown == "dished" else 0.0))


@settings(max_examples=15)
@given(st.tuples(st.floats(-500, 500), st.floats(-500, 500)))
def test_moving_the_origin_changes_nothing_but_places(by):
    """Translation of the (x, y) frame: heights, sections and chances stay."""
    profile = tilted_panel(n=3)
    moved = profile.model_copy(
        update={
            "position": tuple(p.model_copy(update={"at": (p.at[0] + by[0], p.at[1] + by[1])}) for p in profile.position)
        }
    )
    estimate = estimate_of(profile)
    one = plan_set(profile, estimate, MEASURED, MATERIALS, draws=500)
    two = plan_set(moved, estimate, MEASURED, MATERIALS, draws=500)
    for p, q in zip(one.positions, two.positions, strict=True):
        assert (p.height, p.section, p.clearance, p.model) == (q.height, q.section, q.clearance, q.model)


def test_planning_imports_nothing_heavy():
    import subprocess
    import sys

    heavy = "('cadquery', 'OCP', 'trimesh', 'scipy', 'vtk')"
    code = f"import partgen.design.plan_set, sys; print([m for m in {heavy} if m in sys.modules])"
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
    )


def _offset_rows(unread: str = "") -> str:
    rows = ""
    for j, row in enumerate("AB"):
        for i in range(3):
            offset = "" if f"{row}{i + 1}" == unread else "offset = [0.30, -0.20]\noffset_limit = 0.05\n"
            rows += (
                f'[[position]]\nlabel = "{row}{i + 1}"\nat = [{20 * i}, {22 * j}]\npart = "key"\ndrop = 4.3\n{offset}'
            )
    return rows


def test_an_unread_hole_is_not_taken_as_centred_where_the_others_are_off() -> None:
    """Five of six holes read 0.36 mm off: the sixth has as little room as they have."""
    text = PANEL.replace("proud = 1.5", "proud = 2.6\nequal = false")
    found = {p.label: p for p in plan(well_known(profile_from(text + _offset_rows("B2")))).positions}
    assert found["B2"].offset == pytest.approx((0.30, -0.20), abs=0.02)
    assert found["B2"].section.width < found["A1"].section.width + 0.02
    centred = plan(well_known(profile_from(text + _offset_rows().replace("[0.30, -0.20]", "[0.0, 0.0]")))).positions[0]
    guessed = plan(well_known(profile_from(text + _offset_rows().replace("offset", "# offset")))).positions[0]
    assert centred.clearance.nominal < guessed.clearance.nominal - 0.15  # two readings let every cap be closer


def test_neighbours_stand_where_their_seats_are_and_their_doubt_counts() -> None:
    """0.72 mm between holes' middles is 0.02 mm between axes 0.35 mm nearer on either side."""
    pair = (
        '[[position]]\nlabel = "A"\nat = [0, 0]\npart = "key"\ndrop = 4.3\noffset = [0, -0.35]\noffset_limit = 0.05\n'
        '[[position]]\nlabel = "B"\nat = [0, 8.15]\npart = "key"\ndrop = 4.3\noffset = [0, 0.35]\noffset_limit = 0.05\n'
    )
    off = plan(well_known(profile_from(PANEL + pair))).positions[0]
    straight = plan(well_known(profile_from(PANEL + pair.replace("-0.35", "0").replace("0.35", "0")))).positions[0]
    here, there = (next(c for c in p.checks if c.code == "neighbours") for p in (off, straight))
    assert there.value is not None and here.value is not None and here.value < there.value - 0.4
    near = '[[position]]\nlabel = "A"\nat = [0, 0]\npart = "key"\ndrop = 4.3\n'
    near += near.replace('"A"', '"B"').replace("[0, 0]", f"[0, {8.15 - there.value + 0.22:.3f}]")
    doubtful = plan(profile_from(PANEL + near))
    found = next(c for c in doubtful.positions[0].checks if c.code == "neighbours")
    assert found.state == "not proven" and "touch with a chance" in found.why
    apart = plan(profile_from(PANEL + near.replace(f"[0, {8.15 - there.value + 0.22:.3f}]", "[0, 30]")))
    assert doubtful.p_all_fit < apart.p_all_fit - 0.005
