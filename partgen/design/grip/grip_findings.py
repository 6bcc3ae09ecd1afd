"""What is checked of a hold, as findings."""

from __future__ import annotations

from partgen.core.findings import Finding, State, judge_at_least, judge_at_most
from partgen.design.grip import demand, ring
from partgen.design.grip.grip_case import Case, Hold


def judge(case: Case, hold: Hold) -> tuple[Finding, ...]:
    """Every check of one hold. `subject` is left empty for the plan to fill with the position's label."""
    return (
        _keeps_on(case, hold),
        _comes_off(case, hold),
        _strained(case, hold),
        _walled(case, hold),
        _long_enough(case, hold),
        _temperature(case, hold),
    )


def strain_limit(case: Case, hold: Hold) -> float:
    """What `hold.strain` is compared with: the material's limit, or a ring's largest squeeze."""
    return ring.SQUEEZE_MAX if hold.socket.grip == "ring" else case.material.strain_limit


def _middle(span: tuple[float, float]) -> tuple[float, float]:
    """(middle, half width)."""
    return (span[0] + span[1]) / 2, (span[1] - span[0]) / 2


def keeps_on(pull_off: tuple[float, float]) -> Finding:
    """Whether a pull-off range in N is more than what shakes or lifts a part off."""
    needed = demand.NEEDED
    words = (
        f"at least {needed:.1f} N against a shock of {demand.SHOCK:.0f} g ({demand.SHAKE:.1f} N for 2 g) or a damp "
        f"fingertip ({demand.FINGER:.1f} N)"
    )
    value, u95 = _middle(pull_off)
    state = judge_at_least(value, needed, u95)
    why = f"pulls off at {pull_off[0]:.1f} to {pull_off[1]:.1f} N; wanted {words}"
    return Finding("grip-hold", "", "stays on", value, needed, u95, "N", state, why)


def comes_off(pull_off: tuple[float, float], limit: float) -> Finding:
    """Whether a pull-off range in N is less than what the switch bears."""
    value, u95 = _middle(pull_off)
    state = judge_at_most(value, limit, u95)
    why = f"pulls off at {pull_off[1]:.1f} N or less; the switch bears {limit:.0f} N"
    return Finding("grip-release", "", "comes off", value, limit, u95, "N", state, why)


def _keeps_on(case: Case, hold: Hold) -> Finding:
    needed = demand.NEEDED
    if hold.socket.grip == "captive":
        if case.wish.flange:
            held = "held by the flange under the panel"
            return Finding("grip-hold", "", "stays on", None, needed, 0.0, "N", "pass", held)
        why = "no grip and no flange: set flange = true or choose a grip"
        return Finding("grip-hold", "", "stays on", 0.0, needed, 0.0, "N", "fail", why)
    return keeps_on(hold.pull_off)


def _comes_off(case: Case, hold: Hold) -> Finding:
    limit = case.seat.pull_limit
    most = f"{hold.pull_off[1]:.1f} N"
    if hold.socket.grip == "captive":
        why = "lifts off once the panel is open"
        return Finding("grip-release", "", "comes off", 0.0, limit, 0.0, "N", "pass", why)
    if hold.socket.grip == "set-screw":
        why = f"loosen the screw before pulling; tight, it may take {most}"
        return Finding("grip-release", "", "comes off", None, limit, 0.0, "N", "pass", why)
    if hold.socket.grip == "glue":
        why = (
            f"glued, as asked: it does not come off again unbroken. Never pull it: it may take {most}, and the switch "
            f"bears {limit:.0f} N"
        )
        return Finding("grip-release", "", "comes off", None, limit, 0.0, "N", "pass", why)
    return comes_off(hold.pull_off, limit)


def _strained(case: Case, hold: Hold) -> Finding:
    limit, most = 100 * strain_limit(case, hold), 100 * hold.strain[1]
    what = "the ring's squeeze" if hold.socket.grip == "ring" else f"{case.material.name}'s strain"
    state: State = "pass" if most <= limit else "fail"
    why = f"{what} reaches {most:.1f} % at the tight end of tolerance; limit {limit:.1f} %"
    if hold.socket.grip == "ring" and hold.strain[0] < ring.SQUEEZE_MIN:
        state = "not proven" if state == "pass" else state
        why += f"; at the loose end only {100 * hold.strain[0]:.0f} %, wanted {100 * ring.SQUEEZE_MIN:.0f} % or more"
    return Finding("grip-strain", "", "strain", most, limit, 0.0, "%", state, why)


def _walled(case: Case, hold: Hold) -> Finding:
    room, needed = case.wall_room, hold.wall_needed
    # a wall of one line prints, and the strain is judged with it; design rules ask for two
    thinnest = needed - case.least_wall + case.printer.line_width if hold.presses else needed
    state: State = "pass" if room >= needed - 1e-9 else ("not proven" if room >= thinnest else "fail")
    why = f"{room:.2f} mm from the seat to the part's outside; this grip needs {needed:.2f} mm"
    if not hold.presses:
        why += ", as nothing presses on the wall"
    return Finding("grip-wall", "", "wall around the socket", room, needed, 0.0, "mm", state, why)


def _long_enough(case: Case, hold: Hold) -> Finding:
    room, needed = case.socket_length, hold.length_needed
    state: State = "pass" if room >= needed - 1e-9 else "fail"
    why = f"the socket takes {room:.1f} mm of the seat; this grip needs {needed:.1f} mm"
    return Finding("grip-length", "", "length of the socket", room, needed, 0.0, "mm", state, why)


def _temperature(case: Case, hold: Hold) -> Finding:
    """Interference left at −10 and +60 °C (or where the material softens), the seat's material unknown."""
    soft = case.material.soften_by
    hot = min(demand.HOT, soft)
    part = case.material.expansion
    width = max(case.size.width.value, case.size.depth.value)
    # the socket grows away from the seat by the difference in expansion, or shrinks onto it
    changes = [
        (seat - part) * (degrees - demand.ROOM) * width
        for seat in demand.SEAT_EXPANSION
        for degrees in (demand.COLD, hot)
    ]
    softens = f"; {case.material.name} softens by {soft:.0f} °C" + (": no promise above" if soft < demand.HOT else "")
    span = f"{demand.COLD:.0f} to {hot:.0f} °C"
    if not hold.expands:
        why = f"{span}: this grip hardly depends on expansion ({1000 * max(map(abs, changes)):.0f} µm){softens}"
        return Finding("grip-temperature", "", "cold and warm", None, None, 0.0, "mm", "pass", why)
    left = hold.interference[0] + min(changes)
    state: State = "pass" if left > 0 else "not proven"
    why = (
        f"{span}: the fit changes by {1000 * min(changes):+.0f} to {1000 * max(changes):+.0f} µm (seat from steel to "
        f"acetal); least interference left {left:.3f} mm{softens}"
    )
    return Finding("grip-temperature", "", "cold and warm", left, 0.0, 0.0, "mm", state, why)
