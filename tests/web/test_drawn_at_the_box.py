"""What the page draws beside the box for a reading is what the measuring sheet draws."""

from __future__ import annotations

from pathlib import Path

from partgen.profile.edit import Place
from partgen.profile.load import load_profile
from partgen.web.measure import drawing_of

PROFILES = Path(__file__).resolve().parents[2] / "profiles"


def test_a_seat_that_ends_above_the_panel_is_drawn_so() -> None:
    """Read above it, the drop is negative, and the beam lies on the seat's end."""
    profile = load_profile(PROFILES / "tide-gauge-panel.toml").profile
    read = [position for position in profile.position if position.drop is not None]
    above = {position.label: position.drop.mean < 0 for position in read if position.drop is not None}
    assert 0 < sum(above.values()) < len(above)
    for label, raised in above.items():
        drawn = drawing_of(profile, Place("position", label, "drop"))
        assert (">negative<" in drawn) == raised, label
        assert ("beam flat on the panel" in drawn) != raised, label
