"""Every broken profile under tests/broken is refused, with a message that names the place."""

from __future__ import annotations

from pathlib import Path

import pytest

from partgen.core.errors import ProfileError
from partgen.profile.load import load_profile

FOLDER = Path(__file__).parent.parent / "broken"
EXPECTED: dict[str, list[str]] = {
    "at-far": ["position S2: at", "15000 mm", "-1000 to 1000"],
    "at-missing": ["position S1: at", "this key is needed"],
    "at-one-number": ["position S1: at", "a point is [x, y]"],
    "at-text": ["position S1: at", "left"],
    "at-three-numbers": ["position S1: at", "a point is [x, y]"],
    "caliper-coarse": ["[caliper] resolution", "25.4 mm"],
    "colour": ["[part.key] colour", "#30343a"],
    "control-characters": ["title", "one line"],
    "corner-radius": ["[hole.window] corner_radius", "at most half"],
    "cross-arm": ["[seat.plunger] arm", "less than the overall width"],
    "deep-nesting": ["nested too deeply"],
    "diameter-of-a-rectangle": ["[hole.window] diameter", "rectangle has no such key"],
    "drop-400": ["position S1: drop", "400 mm"],
    "drop-comma": ["position S1: drop", "4,31", "decimal point, not a comma"],
    "drop-date": ["position S1: drop", "2026-11-25"],
    "drop-empty": ["position S1: drop", "at least one reading"],
    "drop-exponent": ["position S1: drop", "sensible size"],
    "drop-fraction": ["position S1: drop", "not zero"],
    "drop-in-part": ["[part.key] drop", "[[position]]"],
    "drop-inf": ["position S1: drop", "finite"],
    "drop-nan": ["position S1: drop", "finite"],
    "drop-text": ["position S1: drop", "about four"],
    "drop-true": ["position S1: drop", "true"],
    "drop-true-in-list": ["position S1: drop", "true"],
    "drop-unit": ["position S1: drop", "parsec"],
    "empty": ["[hole.NAME]", "[seat.NAME]", "[part.NAME]", "[[position]]"],
    "extension-draft": ["[part.key] draft", "as straight as the plunger"],
    "flange-text": ["[part.key] flange", "true or false"],
    "flat-deep": ["[seat.plunger] across_flat", "more than half"],
    "flat-missing-side": ["[seat.plunger] across_flat", "less than the shaft's diameter"],
    "format-2": ["format", "reads format = 1"],
    "format-true": ["format", "read true"],
    "gap-single-brackets": ["[panel] gap", "[[panel.gap]]", "double brackets"],
    "gap-without-read": ["[[panel.gap]] number 1: read", "needed"],
    "hole-double-brackets": ["[hole.NAME]", "single brackets"],
    "hole-two-metres": ["[hole.window] width", "2000 mm", "slip of the decimal point"],
    "hole-without-name": ["[hole.NAME]", "[hole.window]"],
    "inch-with-millimetres": ["unit", '"inch"', "[panel] thickness", 'is unit = "mm" right'],
    "key-twice": ["not TOML", "line 12"],
    "label-empty": ["position number 1: label", "1 to 40"],
    "label-long": ["label", "1 to 40"],
    "label-missing": ["position number 1: label", "this key is needed"],
    "label-newline": ["label", "printable"],
    "label-number": ["position number 1: label", "text in quotes"],
    "latin1": ["line 2", "not saved as UTF-8"],
    "many-digits": ["[panel] thickness", "sensible size"],
    "name-blank": ["[part. key]", "printable"],
    "no-drop-at-all": ["seat plunger", "measure the drop at one of its positions"],
    "no-position": ["[[position]]", "at least one position"],
    "no-shape": ["[seat.plunger] shape", "read nothing", "this key is needed", "tongue"],
    "not-toml": ["not TOML", "line 11"],
    "nul": ["not TOML"],
    "outline-crossing": ["[hole.window] points", "convex"],
    "outline-dented": ["[hole.window] points", "convex"],
    "outline-elsewhere": ["[hole.window] points", "(0, 0)"],
    "outline-twice-round": ["[hole.window] points", "crosses itself"],
    "outline-two-points": ["[hole.window] points", "three points"],
    "p-bind": ["[part.key] p_bind", "less than 0.5"],
    "panel-foil": ["[panel] thickness", "0.02 mm", "decimal"],
    "panel-text": ["[panel]", "a table"],
    "position-single-brackets": ["[position]", "double brackets"],
    "plug-draft": ["[part.key] draft", "ribs or fingers must yield"],
    "root-diameter": ["[seat.plunger] root_diameter"],
    "round-original-of-two-sizes": ["[part.key] cap_section", "[10.6, 9] mm", "[part.key] peg", "same number twice"],
    "round-section-of-two-sizes": ["[part.key] section", "[10.6, 9] mm", "same number twice", "section_shape"],
    "round-window-of-two-sizes": ["[part.key] window", "[1.5, 2] mm", "same number twice"],
    "same-file-name": ["position S/1: label", "same files"],
    "same-label": ["position S1: label", "taken"],
    "same-label-but-case": ["position s1: label", 'same files as "S1"'],
    "same-spot": ["position S2: at", "position S1 is on the same spot"],
    "sleeve-draft": ["[part.key] draft", "springs"],
    "spares": ["[part.key] spares", "at most 50"],
    "target-too-sure": ["[target] p_all_fit", "less than 1"],
    "teeth": ["[seat.plunger] teeth", "at least 6"],
    "teeth-half": ["[seat.plunger] teeth", "whole number"],
    "three-faults": ["[hole.window] widht", "[part.key] seat", "position S2: drop", "400 mm"],
    "title-number": ["title", "read 12", "text in quotes"],
    "too-many-digits": ["too many digits"],
    "tube-bore": ["[seat.plunger] bore", "swapped"],
    "unit-below-a-table": ["[panel] unit", "at the top of the file, before the first [table]"],
    "unit-cm": ["unit", '"cm"', 'expected "mm" or "inch"; write values in cm as mm: 1.2 cm is 12 mm'],
    "unit-in": ["unit", 'did you mean "inch"?'],
    "unknown-crown": ["[part.key] crown", 'did you mean "domed"?'],
    "unknown-grip": ["[part.key] grip", 'did you mean "fingers"?'],
    "unknown-hole": ["[part.key] hole", "windw", 'did you mean "window"?'],
    "unknown-hole-key": ["[hole.window] widht", 'did you mean "width"?'],
    "unknown-kind": ["[part.key] kind", 'did you mean "button-cap"?'],
    "unknown-part": ["position S2: part", 'did you mean "key"?'],
    "unknown-seat": ["[part.key] seat", 'did you mean "plunger"?'],
    "unknown-shape": ["[hole.window] shape", "rectangel", 'did you mean "rectangle"?'],
    "unknown-top-key": ["printr", 'did you mean "printer"?'],
    "unquoted-text": ["not TOML"],
    "utf16": ["UTF-16", "save it as UTF-8"],
    "width-missing": ["[hole.window] width", "this key is needed"],
    "width-negative": ["[hole.window] width", "-11.52"],
    "width-zero": ["[hole.window] width", "0 mm"],
}


def test_the_table_and_the_folder_agree() -> None:
    assert {path.stem for path in FOLDER.glob("*.toml")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_a_broken_profile_is_refused_by_name_and_place(name: str) -> None:
    path = FOLDER / f"{name}.toml"
    with pytest.raises(ProfileError) as caught:
        load_profile(path)
    message = str(caught.value)
    assert str(path) in message
    for fragment in EXPECTED[name]:
        assert fragment in message
    assert all(len(line) < 500 and line.isprintable() for line in message.splitlines())
