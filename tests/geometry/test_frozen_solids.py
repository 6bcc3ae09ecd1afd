"""No solid changes unnoticed: volume, box, cuts across the axis and the volume in STEP, of every kind."""

from __future__ import annotations

import frozen_solids
import pytest

ENTRIES = frozen_solids.kept()
FEW = ENTRIES[::9]


def held(entry: dict) -> None:
    """The model in the entry built again, against what it was."""
    found = frozen_solids.sizes(entry["kind"], frozen_solids.model_of(entry["model"]))
    assert found["volume"] == pytest.approx(entry["volume"], rel=2e-6)
    assert found["low"] == pytest.approx(entry["low"], abs=1e-5)
    assert found["high"] == pytest.approx(entry["high"], abs=1e-5)
    assert found["areas"] == pytest.approx(entry["areas"], rel=1e-3, abs=1e-3)
    assert found["step"] == pytest.approx(entry["step"], rel=2e-6)


@pytest.mark.parametrize("entry", FEW, ids=lambda entry: entry["name"])
def test_a_few_solids_are_what_they_were(entry: dict) -> None:
    held(entry)


@pytest.mark.long
@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry["name"])
def test_every_solid_is_what_it_was(entry: dict) -> None:
    held(entry)


def test_every_kind_is_among_them() -> None:
    from partgen.kinds import BY_KIND

    assert {entry["kind"] for entry in ENTRIES} == set(BY_KIND)
