"""Text for marks: filled areas, holes, what can be drawn, numbers that must not be read upside down."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from partgen.geometry.glyphs import CAPITAL, STEM, drawable, lay_out, loop_area


def test_letters_are_as_high_and_as_thick_as_stated() -> None:
    block = lay_out(("I",))
    assert block.height == pytest.approx(CAPITAL, abs=1e-3)
    assert STEM <= block.width < STEM * 1.1


def test_an_o_has_one_hole_and_an_8_two() -> None:
    assert [len(area.holes) for area in lay_out(("O",)).areas] == [1]
    assert [len(area.holes) for area in lay_out(("B",)).areas] == [2]


def test_outer_loops_run_counter_clockwise_and_holes_clockwise() -> None:
    for area in lay_out(("R8ÄØ%ж",)).areas:
        assert loop_area(area.outer) > 0
        assert all(loop_area(hole) < 0 for hole in area.holes)
        assert 0 < area.size < loop_area(area.outer) + 1e-12


def test_a_block_is_centred_and_its_lines_run_down() -> None:
    block = lay_out(("A1", "B"))
    corners = np.vstack([area.outer for area in block.areas])
    assert corners.min(axis=0) == pytest.approx([-block.width / 2, -block.height / 2])
    assert corners.max(axis=0) == pytest.approx([block.width / 2, block.height / 2])
    first, last = block.areas[0].outer[:, 1].mean(), block.areas[-1].outer[:, 1].mean()
    assert first > last


@pytest.mark.parametrize(
    ("text", "bar"), [("6", True), ("9", True), ("68", True), ("69", False), ("8", False), ("61", False)]
)
def test_a_number_that_reads_otherwise_upside_down_gets_a_bar(text: str, bar: bool) -> None:
    plain = sum(len(lay_out((c,)).areas) - (c in "69") for c in text)
    assert len(lay_out((text,)).areas) == plain + bar


@pytest.mark.parametrize(
    ("label", "drawn"),
    [("S1", "S1"), (" a \t b ", "a b"), ("e\u0301", "é"), ("中文 4", "4"), ("\u200b", ""), ("-", "-")],
)
def test_only_what_the_font_has_is_drawn(label: str, drawn: str) -> None:
    assert drawable(label) == drawn


def test_the_font_is_found_without_importing_its_library() -> None:
    import subprocess

    code = (
        "import sys; from partgen.geometry.glyphs import lay_out; lay_out(('S1',)); print('matplotlib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
