"""What the fuzzers and the fault injection found, each as a case of its own."""

from __future__ import annotations

import pytest
from harness import time_limit

from partgen.units import parse_length


@pytest.mark.parametrize("written", ["1 9**9**9", "4.31 mm**99999999", "1 (9**9)**9", "1 __import__('os')", "1 mm*mm"])
def test_a_unit_is_a_word_and_never_worked_out(written: str) -> None:
    """The unit library would have worked out 9**9**9, and partgen never came back."""
    with time_limit(5), pytest.raises(ValueError, match="a length unit such as mm"):
        parse_length(written, "mm")
