"""The log: what was appended is read again, and what stood there before is never touched."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from partgen.core.errors import InputError, LogError
from partgen.jobs.inputs import snapshot
from partgen.profile.log_file import append, log_path, parse_log, read_log
from partgen.profile.log_records import (
    BuiltPosition,
    Change,
    Confirmed,
    FileEdit,
    Log,
    Revision,
    Snapshot,
    Trial,
    ValueEdit,
    Withdrawn,
    revision_id,
)

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
    assert whole == Log(
        snapshot=kept, revision=(revision(),), trial=tuple(t.model_copy(update={"step": 1}) for t in tried)
    )
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


def tried(label: str = "S1", **more: object) -> Trial:
    return Trial.model_validate({"revision": "r01", "label": label, "date": date(2026, 11, 4), **more})


def test_only_what_is_confirmed_not_corrected_and_not_taken_back_counts(tmp_path):
    path, day = tmp_path / "p.log.toml", date(2026, 11, 5)

    def counting() -> list[int]:
        return [number for number, _ in read_log(path).counting()]

    append(path, revisions=[revision(built=("S1", "S2"))])
    append(path, trials=[tried(feel="stuck"), tried("S2", feel="free")])
    append(path, trials=[tried(proud_mm=18.0, doubtful=True)])
    assert counting() == [1, 2]
    append(path, trials=[tried(feel="free", corrects=True)])
    assert counting() == [2, 4]  # S2 is another part
    append(path, trials=[tried(feel="rubs", corrects=True, doubtful=True)])
    assert counting() == [2, 4]  # what is doubtful corrects nothing
    append(path, confirmed=[Confirmed(trial=5, date=day)])
    assert counting() == [2, 5]
    append(path, withdrawn=[Withdrawn(kind="confirmed", number=(1,), date=day, what="that trial 5 is true")])
    assert counting() == [2, 4]
    append(path, withdrawn=[Withdrawn(kind="trial", number=(4,), date=day, what="trial of S1")])
    log = read_log(path)
    assert counting() == [1, 2] and len(log.trial) == 5  # it stays readable
    assert log.statuses() == ("counts", "counts", "doubtful", "withdrawn", "doubtful")
    assert [one.step for one in (*log.trial, *log.confirmed)] == [1, 1, 2, 3, 4, 5]


def test_a_correction_speaks_of_the_made_part_not_of_the_revision_it_served_in(tmp_path):
    path = tmp_path / "p.log.toml"
    kept = revision("r02").built[0].model_copy(update={"made_in": "r01"})
    anew = revision("r03").built[0]
    append(
        path,
        revisions=[revision(), revision("r02", built=()).model_copy(update={"built": (kept,)}),
                   revision("r03", built=()).model_copy(update={"built": (anew,)})],
    )  # fmt: skip
    append(path, trials=[tried(feel="stuck"), tried(revision="r03", feel="rubs")])
    append(path, trials=[tried(revision="r02", feel="free", corrects=True)])
    assert [number for number, _ in read_log(path).counting()] == [2, 3]


def test_an_old_revision_sees_exactly_what_counted_when_it_was_built(tmp_path):
    path, day = tmp_path / "p.log.toml", date(2026, 11, 5)
    append(path, revisions=[revision()])
    append(path, trials=[tried(feel="stuck"), tried(proud_mm=9.0, doubtful=True)])
    append(path, confirmed=[Confirmed(trial=2, date=day)])
    append(path, revisions=[revision("r02", trials_before=2, confirmed_before=1)])
    append(path, withdrawn=[Withdrawn(kind="trial", number=(1,), date=day, what="a slip")])
    append(path, withdrawn=[Withdrawn(kind="confirmed", number=(1,), date=day, what="a slip")])
    append(path, revisions=[revision("r03", trials_before=2, confirmed_before=1, withdrawn_before=2)])
    log = read_log(path)
    assert [[n for n, _ in log.before(one).counting()] for one in log.revision] == [[], [1, 2], []]


def test_a_change_is_read_again_to_the_letter(tmp_path):
    path = tmp_path / "p.log.toml"
    value = ValueEdit(at=("position", "S1", "drop"), was="[4.31]", now="[4.31, 4.35]")
    edit = FileEdit(
        file="p.toml", before="a", after="b", line=7, was="drop = [4.31]\n", now="x = '''y'''\r\n", value=(value,)
    )
    new = FileEdit(
        file="printers/mine.toml", after="c", now="\ndrop = 4\n", value=(ValueEdit(at=("unit",), now='"mm"'),)
    )
    change = Change(what="4.35 at S1", date=date(2026, 11, 4), edit=(edit, new))
    whole = append(path, changes=[change])
    assert read_log(path) == whole
    assert whole.change == (change.model_copy(update={"step": 1}),)


@pytest.mark.parametrize(
    ("torn", "expected"),
    [
        ({"confirmed": [Confirmed(trial=1, date=date(2026, 11, 4))]}, "a doubtful trial"),
        ({"confirmed": [Confirmed(trial=3, date=date(2026, 11, 4))]}, "a doubtful trial"),
        ({"withdrawn": [Withdrawn(kind="trial", number=(3,), date=date(2026, 11, 4), what="x")]}, "at most 2"),
        ({"withdrawn": [Withdrawn(kind="change", number=(1,), date=date(2026, 11, 4), what="x")]}, "at most 0"),
        ({"withdrawn": [Withdrawn(kind="trial", number=(2, 2), date=date(2026, 11, 4), what="x")]}, "once"),
        ({"revisions": [revision("r02", confirmed_before=1)]}, "at most 0"),
        ({"revisions": [revision("r02", withdrawn_before=1)]}, "at most 0"),
        ({"revisions": [revision("r02", trials_before=3)]}, "at most 2"),
    ],
)
def test_entries_that_point_at_nothing_are_refused_and_nothing_changes(torn, expected, tmp_path):
    path = tmp_path / "p.log.toml"
    append(path, revisions=[revision()])
    append(path, trials=[tried(), tried(doubtful=True)])
    before = path.read_bytes()
    with pytest.raises(LogError, match=expected):
        append(path, **torn)
    assert path.read_bytes() == before
