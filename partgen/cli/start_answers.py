"""What the answers of `partgen start` must be: each check gives the answer, or raises ValueError with what is right."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pydantic import BaseModel

    from partgen.core.units import Unit
    from partgen.profile.draft import Spot


class Lengths:
    """Checks of lengths in one unit, against the same bounds that reading a profile uses."""

    def __init__(self, unit: Unit) -> None:
        self.unit = unit

    def of(self, table: str, key: str) -> Callable[[str], str]:
        """A check that hands a length back as typed. Its ValueError completes "expected ..."."""
        from partgen.core.units import parse_length
        from partgen.profile.bounds import bounds_of
        from partgen.profile.panel_records import Caliper, Panel, SeatBase
        from partgen.profile.part_records import PartSpec, Position

        models: dict[str, type[BaseModel]] = {
            "caliper": Caliper,
            "panel": Panel,
            "seat": SeatBase,
            "part": PartSpec,
            "position": Position,
        }
        bounds = bounds_of(models[table], key)

        def check(text: str) -> str:
            if not text:
                raise ValueError("a length")
            text = text.replace(",", ".")
            mm = parse_length(text, self.unit).mm
            if bounds is not None and not bounds.low <= mm <= bounds.high:
                raise ValueError(f"{bounds}, not {mm:g} mm")
            return text

        return check


def some_text(text: str) -> str:
    from partgen.core.errors import one_line

    if not text or not one_line(text):
        raise ValueError("text on one line")
    return text


def one_of_units(text: str) -> Unit:
    from partgen.core.units import not_offered

    unit = {"in": "inch", "inches": "inch"}.get(text, text)
    if unit == "mm":
        return "mm"
    if unit == "inch":
        return "inch"
    raise ValueError(f"mm or inch{not_offered(text)}")


def one_of(known: list[str]) -> Callable[[str], str]:
    def check(text: str) -> str:
        from partgen.profile.suggestions import one_of as nearest

        if text not in known:
            raise ValueError(f"one of these; {nearest(text, known)}")
        return text

    return check


def whole_number(least: int) -> Callable[[str], int]:
    def check(text: str) -> int:
        if not text.isdecimal() or not least <= int(text[:6]) <= 10_000:
            raise ValueError(f"a whole number from {least} to 10000")
        return int(text)

    return check


def spot(length: Lengths, taken: list[Spot]) -> Callable[[str], Spot]:
    """A check of one position typed; `taken` are those before it."""

    def check(text: str) -> Spot:
        from partgen.core.files import safe_stem
        from partgen.profile.draft import Spot

        words = text.split()
        if len(words) != 3 and "," in text:  # "S1, 0, 12.5"; in "S1 0 12,5" the comma is a decimal one
            words = [word.strip() for word in text.split(",")]
        words = [word.rstrip(",") for word in words]
        if len(words) != 3:
            raise ValueError('a label and two lengths, such as "S1 0 12.5"')
        same = [one.label for one in taken if safe_stem(one.label).casefold() == safe_stem(words[0]).casefold()]
        if same:
            raise ValueError(f"a label of its own: {same[0]} is taken")
        place = length.of("position", "at")
        return Spot(words[0], place(words[1]), place(words[2]))

    return check
