"""The terminal's summary stays readable however many positions need the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from partgen.cli.summary import answer, attention, print_document
from partgen.core.findings import State, named
from partgen.jobs.build import _pilot
from partgen.jobs.inputs import gather
from partgen.jobs.plan import plan_inputs, plan_profile
from partgen.output.result_document import CheckDoc, FitDocument

DEMO = Path(__file__).parents[2] / "profiles" / "fog-signal-controller.toml"


@pytest.fixture(scope="module")
def demo() -> FitDocument:
    return plan_profile(DEMO).document


def check(code: str, state: State) -> CheckDoc:
    return CheckDoc(
        name="room", value=0.1, limit=0.2, u95=0.05, unit="mm", state=state, why="make it narrower", code=code
    )


def with_states(document: FitDocument, states: list[State], code: str = "room") -> FitDocument:
    """As many positions as there are states, labelled K1, K2, ..., each with one check."""
    first = document.positions[0]
    positions = tuple(
        first.model_copy(update={"label": f"K{k}", "state": state, "checks": (check(code, state),)})
        for k, state in enumerate(states, start=1)
    )
    return document.model_copy(update={"positions": positions, "doubts": ()})


def test_sixty_positions_that_fail_alike_are_said_once(demo: FitDocument) -> None:
    document = with_states(demo, ["fail"] * 60)
    assert answer(document) == "will not fit at all 60 positions"
    assert attention(document)[1:] == [
        "K1: fail: room 0.1 mm (limit 0.2 mm): make it narrower",
        "    likewise at all others",
    ]


def test_a_large_number_is_written_out(demo: FitDocument) -> None:
    document = with_states(demo, ["fail"])
    much = document.positions[0].checks[0].model_copy(update={"value": 1094.3, "limit": 50.0})
    position = document.positions[0].model_copy(update={"checks": (much,)})
    (line,) = attention(document.model_copy(update={"positions": (position,)}))[1:]
    assert line.startswith("K1: fail: room 1094 mm (limit 50 mm): ")


def test_runs_of_positions_are_named_by_their_ends(demo: FitDocument) -> None:
    document = with_states(demo, ["pass", *["not proven"] * 20, "pass", "not proven"])
    assert answer(document).endswith("not proven at K2 to K21, K23")
    assert attention(document)[-1] == "    likewise K3 to K21, K23"


def test_how_proud_each_one_stands_is_said_one_by_one(demo: FitDocument) -> None:
    document = with_states(demo, ["fail"] * 12, code="proud")
    assert len(attention(document)) == 1 + 12


def test_many_scattered_positions_are_counted() -> None:
    """Every label is either named or counted."""
    labels = [f"K{k}" for k in range(1, 60, 2)]
    assert named(labels) == "K1, K3, K5, K7, K9, K11, K13 and 23 more"
    runs = [f"{row}{k}" for row in "ABCDEFGHIJK" for k in range(1, 11)]
    assert named(runs).endswith("G1 to G10 and 40 more")


def test_sizes_that_do_not_go_together_are_said_once_for_each_part(demo: FitDocument) -> None:
    document = with_states(demo, ["fail"] * 4, code="sizes")
    parts = (p.model_copy(update={"part": part}) for p, part in zip(document.positions, "aabb", strict=True))
    lines = attention(document.model_copy(update={"positions": tuple(parts)}))[1:]
    assert [line.partition(":")[0] for line in lines] == ["K1", "    likewise K2", "K3", "    likewise K4"]


def test_a_pilot_says_what_it_is_and_whose_chance_it_tells(demo: FitDocument, capsys) -> None:
    document = with_states(demo, ["pass"] * 3)
    pilot = document.model_copy(update={"set": document.set.model_copy(update={"pilot_of": 24})})
    assert answer(pilot).endswith("that all 24 fit") and answer(document).endswith("that all 3 fit")
    print_document(pilot, quiet=True)
    assert "A pilot: 3 of 24 parts." in capsys.readouterr().out
    print_document(document, quiet=True)
    assert "pilot" not in capsys.readouterr().out


def test_not_proven_alike_is_one_line_and_each_failing_height_its_own(demo: FitDocument) -> None:
    assert len(attention(with_states(demo, ["not proven"] * 6, "proud"))[1:]) == 2
    assert len(attention(with_states(demo, ["fail"] * 6, "proud"))[1:]) == 6


def test_people_read_the_profile_s_own_unit(demo: FitDocument, capsys) -> None:
    print_document(with_states(demo, ["fail"]).model_copy(update={"unit": "inch"}))
    said = capsys.readouterr().out
    assert "Lengths in inches, those in the file in mm." in said
    assert "room 0.004 in (limit 0.008 in)" in said


def test_a_pilot_s_positions_are_those_of_the_whole_set(demo: FitDocument) -> None:
    """B7, which nobody read, made alone: its numbers, drawing and budget are its own, the chance is of all."""
    document = _pilot(plan_inputs(replace(gather(DEMO), only=("B7",)))).document
    assert document.positions == tuple(one for one in demo.positions if one.label == "B7")
    assert document.set.pilot_of == len(demo.positions)
    assert document.set.p_all_fit == demo.set.p_all_fit
