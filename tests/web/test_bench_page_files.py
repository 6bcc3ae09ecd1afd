"""Several hands on one file: tabs, a text editor, the commands, and a server that is killed."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
import threading
from html import unescape
from pathlib import Path
from typing import Any

from served import TINY, Served, served, until

from partgen.core.files import locked
from partgen.profile.load import load_profile

A2 = ["position", "A2", "drop"]


def drops(folder: Path, label: str = "A2") -> tuple[float, ...]:
    profile = load_profile(folder / "panel.toml").profile
    found = next(p.drop for p in profile.position if p.label == label)
    return found.values if found else ()


def undo_button(page: Served) -> dict[str, Any]:
    """What the page's button for undo would send."""
    shown = page.do("measure", "open")["put"]["undo"]
    return {
        "seen": int(re.search(r'data-seen="(\d+)"', shown)[1]),
        "was": unescape(re.search(r'data-was="([^"]*)"', shown)[1]),
    }


def undo(page: Served) -> dict[str, Any]:
    return page.do("measure", "undo", **undo_button(page))


def bench(folder: Path) -> Path:
    (folder / "panel.toml").write_text(TINY)
    return folder


def test_an_edit_in_a_text_editor_is_seen_kept_and_never_overwritten(tmp_path):
    folder = bench(tmp_path)
    path = folder / "panel.toml"
    with served(folder) as page:
        shown = page.do("shape", "open")["put"]["form"]
        assert 'data-was="2.5"' in shown
        path.write_text(path.read_text().replace("proud = 2.5  # wanted", "proud = 2.1  # by hand"))
        # the tab still shows 2.5 and the person types 3.0 over it
        found = page.do("shape", "set", place=["part", "key", "proud"], was="2.5", text="3.0")
        assert "2.1" in found["put"]["conflict"] and "3.0" in found["put"]["conflict"]
        assert "proud = 2.1  # by hand" in path.read_text()
        assert 'data-was="2.1"' in found["put"]["form"]  # and from now on the tab shows what the file says
        # an edit elsewhere in the file is no conflict: both stay
        path.write_text(path.read_text().replace("offset_limit = 0.2", "offset_limit = 0.15"))
        page.do("shape", "set", place=["part", "key", "proud"], was="2.1", text="3.0")
        page.do("measure", "read", text="5.03", place=A2, seen=1)
        text = path.read_text()
        assert "proud = 3.0  # by hand" in text and "offset_limit = 0.15" in text and "drop = [5.02, 5.03]" in text
        assert text.startswith("format = 1   # two positions") and 'label = "A2"   # by the hinge' in text


def test_a_file_that_is_half_edited_stops_the_page_until_it_is_mended(tmp_path):
    folder = bench(tmp_path)
    path = folder / "panel.toml"
    with served(folder) as page:
        page.do("measure", "open")
        broken = TINY.replace("[hole.window]", "[hole.window")
        path.write_text(broken)
        found = page.do("measure", "read", text="5.03", place=A2, seen=1)
        assert found["held"] and "TOML" in found["put"]["trouble"]
        assert path.read_text() == broken
        path.write_text(TINY)
        found = page.do("measure", "read", text="5.03", place=A2, seen=1)
        assert "held" not in found and drops(folder) == (5.02, 5.03)


def test_two_tabs_and_a_command_at_once_lose_nothing(tmp_path):
    folder = bench(tmp_path)
    want = sorted([5.02, *(round(5.0 + i / 100, 2) for i in range(18))])

    def tab(page: Served, name: str, values: list[float]) -> None:
        for value in values:
            page.do("measure", "read", tab=name, text=f"{value:.2f}", place=A2)

    with served(folder) as page:
        command = [sys.executable, "-m", "partgen", "measure", "panel.toml", "--repeats", "50", "--quiet"]
        typed = "go A2\n" + "".join(f"{v:.2f}\n" for v in want[13:] if v != 5.02 or want.count(5.02) > 2)
        other = [float(line) for line in typed.splitlines()[1:]]
        rest = list(want)
        for value in [5.02, *other]:
            rest.remove(value)
        first, second = rest[::2], rest[1::2]
        threads = [
            threading.Thread(target=tab, args=(page, name, values))
            for name, values in (("firsttab", first), ("othertab", second))
        ]
        for one in threads:
            one.start()
        subprocess.run(command, cwd=folder, input=typed, text=True, capture_output=True, check=True)
        for one in threads:
            one.join()
    assert sorted(drops(folder)) == want


def test_one_tab_cannot_take_back_what_another_read(tmp_path):
    folder = bench(tmp_path)
    with served(folder) as page:
        page.do("measure", "read", tab="firsttab", text="5.03", place=A2)
        shown = undo_button(page)
        page.do("measure", "read", tab="othertab", text="5.04", place=A2)
        found = page.do("measure", "undo", tab="firsttab", **shown)
        assert "something else was recorded since" in found["refused"]
        assert drops(folder) == (5.02, 5.03, 5.04)
        undo(page)
        undo(page)
        assert drops(folder) == (5.02,)


def test_a_shape_change_is_taken_back_only_where_it_still_stands(tmp_path):
    folder = bench(tmp_path)
    path = folder / "panel.toml"
    with served(folder) as page:
        page.do("shape", "set", place=["part", "key", "crown"], was="", text="domed")
        page.do("shape", "set", place=["part", "key", "proud"], was="2.5", text="3.1")
        undo(page)
        undo(page)
        assert path.read_text() == TINY
        page.do("shape", "set", place=["part", "key", "proud"], was="2.5", text="3.1")
        path.write_text(path.read_text().replace("3.1", "2.9"))
        assert "refused" in undo(page)
        assert "proud = 2.9" in path.read_text()


def test_what_cannot_be_is_explained_and_not_written(tmp_path):
    folder = bench(tmp_path)
    with served(folder) as page:
        found = page.do("shape", "set", place=["part", "key", "wall"], was="", text="200")
        assert "wall" in found["refused"] and "0.3" in found["refused"]
        shown = page.do("shape", "typing", "/more", place=["part", "key", "wall"], text="200")["put"]["preview"]
        assert "This cannot be" in shown and "wall" in shown
        # possible to write, but it will not fit: the checks say why, before it is written
        shown = page.do("shape", "typing", "/more", place=["part", "key", "section"], text="12.0, 7.0")["put"][
            "preview"
        ]
        assert "touches the hole" in shown and "fails" in shown
        assert (folder / "panel.toml").read_text() == TINY


def test_killed_while_readings_are_typed_nothing_accepted_is_lost(tmp_path):
    folder = bench(tmp_path)
    page = Served(folder)
    accepted = []
    for i in range(7):
        text = f"5.0{i}"
        found = page.do("measure", "read", text=text, place=A2, seen=1 + i)
        accepted.append(float(text))
        assert found["say"].startswith(f"Saved {text} at A2")
    page.kill()
    assert drops(folder) == (5.02, *accepted)
    with served(folder) as again:
        # sent once more, since its answer might have been lost with the server: it is not there twice
        again.do("measure", "read", text="5.06", place=A2, seen=7, again=True)
        assert drops(folder) == (5.02, *accepted)
        again.do("measure", "read", text="5.07", place=A2, seen=8, again=True)
        assert drops(folder)[-1] == 5.07
        assert "5.070" in again.do("measure", "go", place=A2)["put"]["sofar"]
    assert not list(folder.glob(".*.tmp"))


def test_killed_while_it_builds_nothing_half_made_appears_and_it_builds_again(tmp_path):
    folder = bench(tmp_path)
    page = Served(folder)
    home = folder / "outputs" / "panel"
    home.mkdir(parents=True)
    with locked(home / "build"):  # as another build would hold it: this one waits where it would begin to write
        page.do("build", "build")
        until(lambda: "Measuring the parts, 1 of 2" in page.do("build", "open")["put"]["making"])
        page.kill()
    until(lambda: not _building(folder))  # the build ends by itself when its page is gone
    assert not list(home.glob("r*")) and not (folder / "panel.log.toml").exists()
    assert not list(home.glob(".partgen-unfinished-*"))
    assert page.process.stderr is not None and "Traceback" not in page.process.stderr.read()
    (home / ".partgen-unfinished-abcdefgh").mkdir()  # what is left where the whole machine went off
    with served(folder) as again:
        assert "cut off" in again.do("build", "open")["put"]["making"]
        again.do("build", "build")
        assert again.do("build", "build")["say"] == "A build runs already."
        again.do("measure", "read", text="5.03", place=A2, seen=1)  # typing goes on meanwhile
        again.do("build", "cancel")
        assert "Cancelled" in again.do("build", "open")["put"]["making"]
    assert not list(home.glob("r*")) and drops(folder) == (5.02, 5.03)


def _building(folder: Path) -> list[str]:
    """Processes that still run in a folder, where the system tells."""
    found = []
    for here in Path("/proc").glob("[0-9]*/cwd"):
        with contextlib.suppress(OSError):
            found += [here.parent.name] if here.readlink() == folder else []
    return found
