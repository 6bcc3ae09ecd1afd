"""What is checked of one position's plan, as findings in plain words. Lengths in mm.

Every `why` says the reason and, unless it passes, what to do about it.
"""

from __future__ import annotations

from partgen.core.findings import Finding, State, judge_at_least, judge_at_most
from partgen.design.clearance import P_FLOOR, Binding, Limits
from partgen.design.part_models import Section
from partgen.metrology.estimate_records import Value
from partgen.metrology.student_t import K95

HELD = 0.5
"""mm of the socket that must stay on the seat when a captive cap is lifted as far as it goes."""
ROOF = 0.8
"""Least material between socket and crown, common practice for two to four layers, no source."""
APART = 0.2
"""Least room between neighbouring parts."""

TOUCHING = 1e-3
"""Largest chance that two neighbours touch, as for a hole's wall."""


def size_of(section: Section) -> str:
    """A section's size in words: "11.02 x 5.86 mm" or "8.40 mm across"."""
    if section.shape == "round":
        return f"{section.width:.2f} mm across"
    return f"{section.width:.2f} x {section.depth:.2f} mm"


def chance(p: float) -> str:
    """A probability in words."""
    if p >= 0.1:
        return f"{100 * p:.0f} in 100"
    if p > P_FLOOR:
        return f"1 in {float(f'{1 / p:.2g}'):.0f}"
    return f"less than 1 in {1 / P_FLOOR:.0f}"


KEPT_MORE = 3.0
"""A part accepted when it was made and not tried yet stays accepted up to so many times the wanted chance.

What its neighbours' trials teach moves every chance a little, and its section is printed."""
DOUBTFUL = 0.05
"""A chance of binding beyond which the readings contradict a part that moved freely when it was tried."""


def bind(
    label: str,
    found: Binding,
    target: float,
    section: Section,
    largest: Section | None,
    cause: str,
    *,
    moved_freely: bool = False,
    kept: bool = False,
    accepted: bool = False,
    wobble_read: bool = True,
) -> Finding:
    """P(touching the hole's wall) against the wanted one; its Monte Carlo uncertainty counts.

    A part that was tried and moved freely is proven by that, unless the readings plainly say otherwise.
    One that is `kept` has its section for good; `accepted` when it was made, it needs more than a little
    (KEPT_MORE) to be questioned.
    """
    # p already counts every uncertainty of the readings; only its own simulation error is left
    state: State = "pass" if found.p <= target else judge_at_most(found.p, target, found.u95)
    if state == "fail" and not wobble_read and found.p < DOUBTFUL:
        state = "not proven"  # a steadier plunger, as likely as the one assumed, would pass
    why = f"{label} touches its hole's wall with a chance of {chance(found.p)}; wanted at most {chance(target)}"
    if moved_freely and state != "pass":
        agrees = found.p < DOUBTFUL
        state = "pass" if agrees else "not proven"
        why += "; it was tried and moved freely" + ("" if agrees else ", so measure the hole and its offset again")
    elif kept and state != "pass":
        if accepted and found.p <= KEPT_MORE * target:
            state = "pass"
            why += "; it was accepted when it was made, and what its neighbours' trials taught changes little"
        else:
            state = "not proven"
            why += (
                ". It is printed already: try it in its hole and record how it moves; if it rubs, the next is smaller"
            )
    elif state != "pass":
        why += f". The section {size_of(section)} is too large"
        why += f": take at most {size_of(largest)}" if largest is not None else ": no section is small enough"
        why += f", or {cause}"
    return Finding("bind", label, "touches the hole", found.p, target, found.u95, "", state, why)


def clearance(label: str, room: float, limits: Limits) -> Finding:
    """Room per side left when what varies is combined by root sum of squares (about 95 %)."""
    left = room - limits.rss
    state: State = "pass" if left >= 0 else ("not proven" if room >= limits.rock else "fail")
    worst = room - limits.stack
    why = (
        f"{room:.2f} mm per side as expected, {left:.2f} mm when the causes combine by chance, "
        f"{worst:.2f} mm with all of them at their limits at once"
    )
    if state != "pass":
        why += f". Make the section smaller or {largest_cause(limits)}"
    return Finding("clearance", label, "room left at its limits", left, 0.0, 0.0, "mm", state, why)


def largest_cause(limits: Limits) -> str:
    """What to do about the cause that takes most room."""
    advice = {
        limits.place: f"measure where the hole sits over its seat (offset): ±{limits.place:.2f} mm is allowed for",
        limits.play: f"read how far the plunger wobbles: it may take {limits.play:.2f} mm at the panel",
        limits.rock: f"choose a grip without slop: the socket lets the part lean {limits.rock:.2f} mm at the panel",
        limits.width: f"print and measure a coupon: the width may be off by ±{2 * limits.width:.2f} mm",
        limits.hole: f"measure the hole again: its size is known to ±{2 * limits.hole:.2f} mm",
        limits.tilt: f"measure more drops: the tilt may take {limits.tilt:.2f} mm",
    }
    return advice[max(advice)]


def read_drop(*, unread: bool) -> str:
    """What to do where a drop is not known well enough."""
    return "measure its drop, which was not read" if unread else "measure this drop again"


def proud(
    label: str, value: float, u95: float, wanted: float, tolerance: float, *, forced: bool, unread: bool = False
) -> Finding:
    """Predicted proud against the wanted one, plus or minus the tolerance; `unread`: no drop was read there."""
    off = value - wanted
    state = judge_at_most(abs(off), tolerance, u95)
    where = f"{value:.2f} mm proud" if value >= 0 else f"sunk {-value:.2f} mm below the face"
    why = f"{label} will stand {where} (±{u95:.2f}); wanted {wanted:.2f} ± {tolerance:.2f}"
    if state != "pass":
        if abs(off) > tolerance:
            why += f": {off:.2f} mm too proud" if off > 0 else f": sunk {-off:.2f} mm too deep"
            forces = ", because its height is forced. Leave height out and each position gets its own"
            why += forces if forced else "; thinner layers would come nearer"
        else:
            why += f". Not certain enough: {read_drop(unread=unread)}, or calibrate the printer's height with a coupon"
    return Finding("proud", label, "stands as proud as wanted", abs(off), tolerance, u95, "mm", state, why)


def roof(label: str, left: float) -> Finding:
    """Material between the socket's floor and the crown."""
    state: State = "pass" if left >= ROOF else "fail"
    why = f"{left:.2f} mm of material between {label}'s socket and its crown"
    if state != "pass":
        why += (
            f", {ROOF:.1f} mm wanted: the seat's top is too near the wanted crown. Raise proud, or cut the seat shorter"
        )
    return Finding("roof", label, "material under the crown", left, ROOF, 0.0, "mm", state, why)


def pressed(label: str, guide: float, u95: float, proud_pressed: float, *, unsure: str = "") -> Finding:
    """Straight skirt left in the hole at full travel, on the side where it is least.

    `unsure` says what to measure where only the uncertainty stands against it.
    """
    state = judge_at_least(guide, 0.0, u95)
    where = f"{-proud_pressed:.2f} mm below the face" if proud_pressed < 0 else f"{proud_pressed:.2f} mm above the face"
    why = f"pressed home, {label}'s crown is {where} and {max(guide, 0.0):.2f} mm of its side still stand in the hole"
    if state != "pass":
        why = (
            f"pressed home, {label}'s crown is {where}: it may drop out of the hole and catch under the panel. "
            f"Make it at least {u95 - guide:.1f} mm prouder, or round its edge less"
        )
    if state == "not proven" and guide >= 0 and unsure:
        why = (
            f"pressed home, {label}'s crown is {where} and {guide:.2f} mm of its side should still stand in the hole, "
            f"but that is known to ±{u95:.2f} mm only: {unsure}"
        )
    return Finding("pressed", label, "stays in its hole when pressed", guide, 0.0, u95, "mm", state, why)


def flange_rest(label: str, gap: float | None, u95: float, room: float, needed: float, *, unsure: str = "") -> Finding:
    """Least room between collar and panel at rest; None where no collar fits. `unsure` says what to measure."""
    name = "collar clear of the panel at rest"
    if gap is None:
        why = (
            f"{label} has no room for a collar: {max(room, 0.0):.2f} mm between the skirt's end and the panel's "
            f"underside, {needed:.2f} mm needed. Make the socket deeper, the collar thinner, or set flange = false"
        )
        return Finding("flange-rest", label, name, room, needed, u95, "mm", "fail", why)
    state = judge_at_least(gap, 0.0, u95)
    why = f"{gap:.2f} mm between {label}'s collar and the panel's underside where it is nearest"
    if state != "pass":
        why += ": the panel may hold the switch half pressed. "
        why += f"{unsure.capitalize()}, or raise flange_gap" if unsure and gap >= 0 else "Raise flange_gap"
    return Finding("flange-rest", label, name, gap, 0.0, u95, "mm", state, why)


def travel(label: str, left: float, u95: float, obstacle: float, *, assumed: bool = False) -> Finding:
    """Room below the skirt at full travel; `assumed`: what it could strike was not measured, so nothing is proven."""
    state = judge_at_least(left, 0.0, u95)
    below = f"what lies {obstacle:.2f} mm below the seat's top"
    if assumed and state != "pass":
        why = (
            f"pressed home, {label}'s lower end may strike the switch's body, which may begin where the plunger's free "
            f"length ends, {obstacle:.2f} mm below its top: measure from the seat's top down to that body"
        )
        return Finding(
            "flange-travel", label, "lower end clear at full travel", left, 0.0, u95, "mm", "not proven", why
        )
    why = f"pressed home, {label}'s lower end stays {left:.2f} mm clear of {below}"
    if state != "pass":
        why = (
            f"pressed home, {label}'s lower end comes to {left:.2f} mm from {below}: the switch may not close. "
            f"Make socket_depth at least {u95 - left:.1f} mm less"
        )
    return Finding("flange-travel", label, "lower end clear at full travel", left, 0.0, u95, "mm", state, why)


def captive(label: str, lift: float, length: float) -> Finding:
    """Lifting room against what the socket holds: a captive cap must not leave its seat."""
    limit = length - HELD
    state: State = "pass" if lift <= limit else "fail"
    why = f"{label} can be lifted {lift:.2f} mm until its collar meets the panel; its socket is {length:.2f} mm deep"
    if state != "pass":
        why += ": it comes off its seat and cannot find back. Make flange_gap smaller or the socket deeper"
    return Finding("grip-lift", label, "cannot leave its seat", lift, limit, 0.0, "mm", state, why)


def neighbours(label: str, other: str, apart: float, touching: float = 0.0) -> Finding:
    """Room to the nearest neighbouring part; `touching` is the chance that the two touch all the same."""
    state: State = "pass" if apart >= APART else "fail"
    why = f"{apart:.2f} mm between {label} and {other} at their widest"
    if state == "pass" and touching > TOUCHING:
        state = "not proven"
        why += (
            f", but they touch with a chance of {chance(touching)}: read how far their holes sit off their plungers "
            "(offset) and how far those wobble, or make flange_overlap smaller"
        )
    elif state != "pass":
        why += f": they touch or nearly do; wanted {APART:.1f} mm. Make flange_overlap smaller, or check both positions"
    return Finding("neighbours", label, "clear of its neighbours", apart, APART, 0.0, "mm", state, why)


def least_known(drop_u95: float, thickness_u95: float, travel_u95: float = 0.0, *, unread: bool, assumed: bool) -> str:
    """What to measure: whichever of the three is known least. `assumed`: the panel's thickness was not measured."""
    most = max(drop_u95, thickness_u95, travel_u95)
    if most == thickness_u95:
        again = (
            "measure the panel's thickness, which is only assumed" if assumed else "measure the panel's thickness again"
        )
        return f"{again} ([panel] thickness)"
    return read_drop(unread=unread) if most == drop_u95 else "measure the seat's travel again"


def expanded(value: Value) -> float:
    """U (95 %, k = 1.96) of a value whose degrees of freedom do not matter here."""
    return K95 * value.u
