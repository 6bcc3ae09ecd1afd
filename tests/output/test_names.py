"""File names: safe everywhere, distinct for any labels, the same whatever else stands beside them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.output.file_names import LONGEST, RESERVED, file_stems, plain, safe_stems

NASTY = [
    "../x", "a/b", "a\\b", "a:b", "CON", "nul.txt", "Höhe", "HÖHE", "höhe", "😀", "🎉", " ", ".", "..", "a.", "a", "A",
    "-rf", "é", "e\u0301", "x" * 200, "\x00", "日本", "=cmd|' /C calc'!A0",
]  # fmt: skip


def test_everyday_labels_keep_their_names() -> None:
    assert file_stems(["S1", "S2", "T-12", "R_4", "Höhe 3"], "r02") == {
        "S1": "S1-r02", "S2": "S2-r02", "T-12": "T-12-r02", "R_4": "R_4-r02", "Höhe 3": "Hoehe-3-r02",
    }  # fmt: skip


def assert_safe(stems: tuple[str, ...]) -> None:
    assert len({stem.casefold() for stem in stems}) == len(stems)
    for stem in stems:
        assert re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", stem)
        assert not stem.endswith(".")
        assert stem.split(".")[0].casefold() not in RESERVED
        assert len(stem) <= LONGEST + 70


def test_nasty_labels_are_safe_and_distinct_together_and_alone() -> None:
    assert_safe(safe_stems(NASTY))
    for label in NASTY:
        assert_safe(safe_stems([label]))


@given(st.lists(st.text(max_size=50), max_size=12, unique=True))
def test_any_labels_are_safe_and_distinct(labels: list[str]) -> None:
    assert_safe(safe_stems(labels))


@given(st.lists(st.sampled_from(["a", "A", "a-", "a-ca97", "A-ca97", "part", "con", "ä", "ae", "Ae"]), unique=True))
def test_names_made_to_avoid_a_clash_do_not_make_one(labels: list[str]) -> None:
    assert_safe(safe_stems(labels))


def test_a_name_depends_on_the_others_only_where_it_clashes() -> None:
    assert safe_stems(["S1", "S2"])[1] == safe_stems(["S2", "X"])[0]
    assert safe_stems(["a b", "a/b"]) == safe_stems(["a/b", "a b"])[::-1]


def test_labels_that_repeat_are_refused() -> None:
    with pytest.raises(ValueError, match="differ"):
        safe_stems(["a", "a"])


def test_a_label_of_any_length_stays_short() -> None:
    assert len(plain("ß" * 500)) == LONGEST
