"""The log: what was appended is read again, and what stood there before is never touched."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.errors import InputError, LogError
from partgen.log import BuiltPosition, Log, Revision, Snapshot, Trial, append, log_path, read_log, revision_id
from partgen.log.store import parse_log
from partgen.pipeline.inputs import snapshot

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc", "Zl", "Zp", "Cf", "Co", "Cn")), max_size=40
)
ANY_TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=200)
MM = st.floats(-50, 50).map(lambda value: round(value, 4))


def revision(name: str = "r01", built: tuple[str, ...] = ("S1",), **more: object) -> Revision:
    positions = tuple(
        BuiltPosition(
            label=label, part="key", height_mm=5.82, model_height_mm=5.8, proud_mm=1.5, proud_u95_mm=0.13,
            section_mm=(10.6, 5.4), model_section_mm=(10.5, 5.3), state="pass", made_in=name,
        )
        for label in built
    )  # fmt: skip
    given = {
        "id": name, "date": date(2026, 11, 3), "partgen": "0.1.0", "printer": "material-extrusion", "profile_hash": "a",
        "printer_hash": "b", "seed": 0, "draws": 4000, "trials_before": 0, "content_hash": "c", "tilt_deg": 0.9,
        "tilt_u95_deg": 0.4, "p_all_fit": 0.99, "built": positions,
    }  # fmt: skip
    return Revision(**{**given, **more})


def test_a_log_lies_beside_its_profile_and_no_file_is_an_empty_one(tmp_path):
    assert log_path(tmp_path / "my-panel.toml") == tmp_path / "my-panel.log.toml"
    assert read_log(tmp_path / "my-panel.log.toml") == Log()


@given(
    texts=st.lists(ANY_TEXT, max_size=3),
    notes=st.lists(st.tuples(WORDS, st.none() | MM, st.sampled_from([None, "free", "rubs", "stuck"])), max_size=4),
)
def test_what_was_appended_is_read_again_to_the_letter(tmp_path_factory, texts, notes):
    path = tmp_path_factory.mktemp("log") / "p.log.toml"
    kept = tuple({s.hash: s for s in (snapshot("profile", "p.toml", text) for text in texts)}.values())
    tried = tuple(
        Trial(revision="r01", label="S1", date=date(2026, 11, 4), proud_mm=mm, feel=feel, note=note)
        for note, mm, feel in notes
    )
    append(path, revisions=[revision()], snapshots=kept)
    first = path.read_bytes()
    whole = append(path, trials=tried, snapshots=kept)
    assert whole == Log(snapshot=kept, revision=(revision(),), trial=tried)
    assert read_log(path) == whole
    assert path.read_bytes().startswith(first)  # only ever longer


def test_an_id_that_is_taken_is_refused_and_nothing_changes(tmp_path):
    path = tmp_path / "p.log.toml"
    append(path, revisions=[revision()])
    before = path.read_bytes()
    with pytest.raises(LogError, match="r01"):
        append(path, revisions=[revision()])
    with pytest.raises(LogError, match="a revision that was built"):
        append(path, trials=[Trial(revision="r09", label="S1", date=date(2026, 11, 4))])
    assert path.read_bytes() == before


def test_a_text_that_was_changed_is_noticed():
    good = snapshot("profile", "p.toml", "format = 1\n")
    bad = Snapshot(of="profile", name="p.toml", hash=good.hash, text="format = 1 \n")
    text = f'format = 1\n[[snapshot]]\nof = "profile"\nname = "p.toml"\nhash = "{bad.hash}"\ntext = "x"\n'
    with pytest.raises(LogError, match="its hash differs"):
        parse_log(text.encode(), "p.log.toml")


@pytest.mark.parametrize("written", ["r01", "r12", "r1234"])
def test_an_id_is_taken_as_it_is(written):
    assert revision_id(written) == written


@pytest.mark.parametrize(
    ("written", "meant"), [("7", "r07"), ("R7", "r07"), ("rev 12", "r12"), ("", ""), ("latest", ""), ("r12345", "")]
)
def test_an_id_that_is_none_says_what_may_be_meant(written, meant):
    with pytest.raises(InputError) as error:
        revision_id(written)
    said = str(error.value)
    assert "revisions are called r01, r02" in said
    assert said.endswith(f"did you mean {meant}?") if meant else "did you mean" not in said


def test_a_space_that_does_not_break_is_text():
    """Typed in many languages and copied from tables; a control character is none."""
    assert Trial(revision="r01", label="S1", date=date(2026, 11, 4), note="a\u00a0: b").note == "a\u00a0: b"
    with pytest.raises(ValueError, match="control characters"):
        Trial(revision="r01", label="S1", date=date(2026, 11, 4), note="a\u001bb")
