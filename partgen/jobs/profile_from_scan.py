"""What a scan says, as one edit of a profile that keeps comments and order.

Pure: the command applies it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.items import Array

from partgen.core.units import MM_PER
from partgen.metrology.student_t import K95
from partgen.profile.edit import Edit, Place, add_position, set_value, toml_length
from partgen.profile.panel_records import OutlineHole, RectangleHole, RoundHole, SlotHole
from partgen.profile.profile_record import Profile
from partgen.scan.scan_records import Group, Opening, Scan

SAME_SPOT = 0.5
"""mm: nearer to a position that was not found than this, an opening is no other one."""
_KEYS = {"round": ("diameter",), "rectangle": ("width", "depth"), "slot": ("width", "depth"), "outline": ()}
_SHAPES = {RoundHole: "round", RectangleHole: "rectangle", SlotHole: "slot", OutlineHole: "outline"}


@dataclass(frozen=True)
class Proposal:
    """An edit, and in words what it does and what it leaves out."""

    edit: Edit
    does: tuple[str, ...]
    leaves: tuple[str, ...]


def propose(scan: Scan, profile: Profile, part: str | None = None, said_with: str = "with --part") -> Proposal:
    """Positions and holes of a scan for `profile`; new positions get `part`, or the one their hole has.

    `said_with` tells a person where a part is named: an option of the command, a field of the page.

    A hole's size goes in as one more reading with its own uncertainty, "11.51 ± 0.04 mm", in place
    of an earlier scan's; calipers readings stay and are weighed against it wherever the hole is used.
    """
    edits: list[Edit] = []
    does: list[str] = []
    leaves: list[str] = []
    usable = {}
    for group in scan.groups:
        wrong = _other_form(group, profile)
        if wrong:
            leaves.append(wrong)
            continue
        if group.name not in profile.hole and part is None:
            leaves.append(
                f"{', '.join(group.labels)}: {_in_words(group)}, like no hole of the profile. Where they carry your "
                f"parts, say which {said_with}; screw holes stay left out"
            )
            continue
        usable.update(dict.fromkeys(group.labels, group.name))
        edits.append(_hole(group, profile, scan.proven))
        does.append(f"[hole.{group.name}]: {_in_words(group)}" + ("" if group.name in profile.hole else " (new)"))
    parts, new_parts, said, refused = _parts(scan, profile, part, usable, said_with)
    edits, does, leaves = edits + new_parts, does + said, leaves + refused
    moved, added = 0, 0
    seen = {one.label for one in scan.openings}
    spots = {position.label: position.at for position in profile.position if position.label not in seen}
    for one in scan.openings:
        there = next(
            (label for label, at in spots.items() if math.dist(at, (one.shape.x, one.shape.y)) < SAME_SPOT), ""
        )
        if one.known:
            edits.append(_at(one, profile))
            moved += 1
        elif there:
            leaves.append(
                f"{one.label}: the profile has {there} on this spot; if it is that one, rename {one.label} {there}"
            )
        elif one.label in usable and usable[one.label] in parts:
            edits += [add_position(one.label, _written(one, profile), parts[usable[one.label]]), _at(one, profile)]
            added += 1
    for number, what in ((moved, "known"), (added, "new")):
        if number:
            does.append(f"{number} {what} position{'s' * (number > 1)}: at and at_limit")

    def edit(document: tomlkit.TOMLDocument) -> None:
        for one in edits:
            one(document)

    return Proposal(edit, tuple(does), tuple(leaves))


def _parts(
    scan: Scan, profile: Profile, part: str | None, usable: dict[str, str], said_with: str
) -> tuple[dict[str, str], list[Edit], list[str], list[str]]:
    """Hole to the part that new positions over it get, and the edits, words and refusals that go with it.

    A hole that no part uses yet gets one like `part`, where that was asked for; nothing makes a part by itself.
    """
    found: dict[str, str] = {}
    edits: list[Edit] = []
    does: list[str] = []
    leaves: list[str] = []
    for name in dict.fromkeys(usable.values()):
        new = [o.label for o in scan.openings if not o.known and usable.get(o.label) == name]
        own = [p for p, spec in profile.part.items() if spec.hole == name]
        if not new:
            continue
        if own:
            found[name] = part if part in own else own[0]
        elif part is not None and (seat := profile.part[part].seat) is not None:
            found[name] = name if name not in profile.part else f"{name}-part"
            kind = profile.part[part].kind
            edits.append(_new_part(found[name], kind, name, seat))
            does.append(f"[part.{found[name]}]: a {kind} for [hole.{name}] (new)")
        else:
            leaves.append(
                f"{', '.join(new)}: no part uses [hole.{name}]; add one to the profile, then scan again, or say "
                f"{said_with} which part is to be made there, too"
            )
    return found, edits, does, leaves


def _hole(group: Group, profile: Profile, proven: bool) -> Edit:
    def edit(document: tomlkit.TOMLDocument) -> None:
        readings = dict(_readings(group))
        if group.name in profile.hole:
            table = document["hole"][group.name]
            for key, text in readings.items():
                _replace_scan(table, key, text)
            if group.shape.kind == "rectangle" and "corner_radius" not in table:
                set_value(Place("hole", group.name, "corner_radius"), _length(group.shape.corner_radius, profile, 1))(
                    document
                )
            return
        table = tomlkit.table()
        table.add("shape", group.shape.kind)
        for key, text in readings.items():
            array = tomlkit.array()
            array.append(text)
            table.add(key, array)
        if group.shape.kind == "rectangle":
            table.add("corner_radius", _length(group.shape.corner_radius, profile, 1))
        if group.shape.kind == "outline":
            points = tomlkit.array()
            for x, y in group.shape.points:
                points.append([_length(x, profile), _length(y, profile)])
            table.add("points", points.multiline(True))
            limit = K95 * max(group.u_width, group.u_depth) / 2
            table.add("limit_of_error", max(0.01, _length(math.ceil(limit * 100) / 100, profile)))
        table.comment("from a scan" if proven else "from a scan, scale not proven")
        table.add(tomlkit.nl())
        document["hole"].append(group.name, table)

    return edit


def _new_part(name: str, kind: str, hole: str, seat: str) -> Edit:
    def edit(document: tomlkit.TOMLDocument) -> None:
        table = tomlkit.table()
        for key, value in (("kind", kind), ("hole", hole), ("seat", seat)):
            table.add(key, value)
        table.add(tomlkit.nl())
        document["part"].append(name, table)

    return edit


def _at(one: Opening, profile: Profile) -> Edit:
    def edit(document: tomlkit.TOMLDocument) -> None:
        written = tomlkit.array()
        for value in _written(one, profile):
            written.append(toml_length(value))
        set_value(Place("position", one.label, "at"), written)(document)
        limit = math.ceil(K95 * max(one.u_at) * 100) / 100
        set_value(Place("position", one.label, "at_limit"), _length(max(0.01, limit), profile))(document)

    return edit


def _readings(group: Group) -> Iterator[tuple[str, str]]:
    values = ((group.shape.width, group.u_width), (group.shape.depth, group.u_depth))
    for key, (value, u) in zip(_KEYS[group.shape.kind], values, strict=False):
        yield key, f"{value:.3f} ± {max(0.001, K95 * u):.3f} mm"


def _replace_scan(table: Any, key: str, text: str) -> None:  # noqa: ANN401 - tomlkit's tables share no base
    """Put a scan's reading in place of an earlier scan's, behind the calipers'."""
    old = table.get(key)
    if isinstance(old, Array):
        for number in reversed(range(len(old))):
            if _from_scan(old[number]):
                del old[number]
        old.append(text)
        return
    array = tomlkit.array()
    if old is not None and not _from_scan(old):
        array.append(old.unwrap() if not hasattr(old, "items") else old)
        array.trivia.comment_ws, array.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    array.append(text)
    table[key] = array


def _from_scan(item: object) -> bool:
    return isinstance(item, str) and ("±" in item or "+-" in item)


def _other_form(group: Group, profile: Profile) -> str:
    """Why a hole of the profile cannot take this group, or nothing."""
    hole = profile.hole.get(group.name)
    if hole is None or _SHAPES[type(hole)] == group.shape.kind:
        return ""
    return (
        f"[hole.{group.name}]: the profile says {_SHAPES[type(hole)]}, the scan shows {group.shape.kind} "
        f"({_in_words(group)}); change the profile or give {', '.join(group.labels)} another part"
    )


def _in_words(group: Group) -> str:
    sizes = [f"{group.shape.width:.2f} ± {K95 * group.u_width:.2f}"]
    if group.shape.kind != "round":
        sizes.append(f"{group.shape.depth:.2f} ± {K95 * group.u_depth:.2f}")
    return f"{group.shape.kind} {' × '.join(sizes)} mm, {len(group.labels)} of them"


def _written(one: Opening, profile: Profile) -> tuple[str, str]:
    digits = 3 if profile.unit == "mm" else 5
    x, y = (round(value / MM_PER[profile.unit], digits) + 0.0 for value in (one.shape.x, one.shape.y))
    return f"{x:.{digits}f}", f"{y:.{digits}f}"


def _length(mm: float, profile: Profile, digits: int = 3) -> float:
    """Rounded, in the profile's unit."""
    return round(mm / MM_PER[profile.unit], digits if profile.unit == "mm" else digits + 2)
