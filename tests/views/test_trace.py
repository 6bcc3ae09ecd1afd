"""Numbers keep their path, and read as people write them."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st
from sample import document

from partgen.views.provenance import Node, Number, cited, figure, percent


def test_a_number_knows_its_path_through_records_and_lists() -> None:
    """positions.1.checks.0.value is the number that stands there."""
    doc = document(3)
    number = Node(doc).positions[1].checks[0].value
    assert number == Number(doc.positions[1].checks[0].value, "positions.1.checks.0.value")


def test_text_flags_and_null_come_out_plain() -> None:
    """Only numbers are wrapped; a truth value is no number."""
    node = Node(document(2)).positions[0]
    assert node.label == "S1"
    assert node.geometry.watertight is True
    assert node.unchanged_since is None


@given(st.floats(-999, 999), st.integers(0, 4))
def test_a_figure_reads_back_within_half_of_its_last_digit(value: float, digits: int) -> None:
    """Rounding is the only loss, and there is no negative zero and no hyphen for a minus."""
    text = figure(value, digits)
    assert "-" not in text
    back = Decimal(text.replace("−", "-"))
    assert abs(back - Decimal(value)) <= Decimal(10) ** -digits / 2
    assert not (text.startswith("−") and back == 0)


@given(st.floats(0, 1))
def test_a_probability_is_never_rounded_to_certainty(p: float) -> None:
    """Neither 0 % nor 100 % is ever claimed, and what is written lies within its rounding."""
    text = percent(p)
    shown = float(text.split()[-2])
    if text.startswith("under"):
        assert 100 * p <= shown
    elif text.startswith("over"):
        assert 100 * p >= shown
    else:
        assert abs(100 * p - shown) <= 0.0501
        assert 0 < shown < 100


def test_a_cited_number_carries_exact_value_and_path_and_escapes_text() -> None:
    """The attribute holds every digit; the text is escaped."""
    written = cited(Number(0.1 + 0.2, "positions.0.x"), "<b>")
    assert written == '<data value="0.30000000000000004" data-from="positions.0.x">&lt;b&gt;</data>'
