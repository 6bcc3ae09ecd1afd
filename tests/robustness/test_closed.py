"""Nothing gets out and nothing gets in: no network, no code from a file, no markup or formula from a name."""

from __future__ import annotations

import csv
import html.parser
import json
import os
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import pytest
from harness import ROOT, run
from lamp_bench import filled_form
from panel_scan import panel_scan

from partgen.core.worker_pool import CONTEXTS

EVIL = "<img src=x onerror=alert(1)>\"'</script><script>alert(2)</script>"
FORMULA = "=HYPERLINK(1)"
GIVEN = ("t.csv", "r.csv", "panel.png")
BLOCKED = """
import os, socket, sys
def hook(event, given):
    if not event.startswith("socket.") or event == "socket.__new__":
        return
    # workers of one machine talk over a socket that is a file: that is no network
    if given and getattr(given[0], "family", None) == socket.AF_UNIX:
        return
    with open(os.environ["ASKED"], "a") as asked:  # whoever swallows the error, it is seen
        asked.write(f"{event} {given}\\n")
    raise AssertionError("partgen asked for the network")
sys.addaudithook(hook)
"""
"""What every process of a run does first: whatever asks for the network is refused, and noted."""
RUN = """
import sys
from partgen.cli.app import main
for arguments in ARGUMENTS:
    sys.argv = ["partgen", *arguments]
    try:
        main()
    except SystemExit as ended:
        assert ended.code in (0, 1, None), (arguments, ended.code)
"""


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A whole job on a profile whose every free text is an attack, with the network blocked."""
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "profiles").mkdir()
    text = (ROOT / "profiles" / "harbour-lamp-tester.toml").read_text()
    text = text.replace('"Harbour lamp tester"', json.dumps(EVIL)).replace('"LEFT"', json.dumps(FORMULA))
    text = text.replace('"MIDDLE"', '"<b>&\\"\'"').replace("[part.cap]", '[part."<i>p"]').replace('"cap"', '"<i>p"')
    text = text.replace('kind = "<i>p"', 'kind = "button-cap"')
    (folder / "profiles" / "evil.toml").write_text(text)
    shutil.copytree(ROOT / "profiles/printers", folder / "profiles/printers")
    (folder / "t.csv").write_text(f"label,proud_mm,feel,grip,note\n{FORMULA},2.31,free,holds,{FORMULA}+1\n")
    (folder / "r.csv").write_text(filled_form())
    panel_scan(folder / "panel.png")
    evil = "profiles/evil.toml"
    commands = [
        ["predict", evil],
        ["predict", evil, "--json"],
        ["build", evil, "--quiet"],
        ["measure", evil],
        ["trial", evil, "t.csv", "--as-entered"],
        ["build", evil, "--quiet"],
        ["report", evil],
        ["report", evil, "--compare", "r01", "r01"],
        ["sheet", evil],
        ["scan", evil, "panel.png", "--yes"],
        ["log", evil],
        ["coupon", "mine", "--quiet"],
        ["calibrate", "mine", "r.csv"],
        ["start", "profiles/new.toml", "--yes", "--rows", "1", "--columns", "1", "--pitch", "20", "--hole", "round 9",
         "--seat", "round 3", "--seat-length", "4", "--drop", "4", "--title", EVIL],
        ["start", "--schema", "profiles/schema.json"],
    ]  # fmt: skip
    done, asked = closed(tmp_path_factory.mktemp("closed"), folder, RUN.replace("ARGUMENTS", repr(commands)))
    assert done.returncode == 0, done.stderr[-3000:]
    assert not asked, asked
    return folder


def closed(blocked: Path, folder: Path, code: str) -> tuple[subprocess.CompletedProcess[str], str]:
    """Python code run in `folder` by a process that, like all it starts, gets no network; and what asked for it."""
    (blocked / "sitecustomize.py").write_text(BLOCKED)
    asked = blocked / "asked.txt"
    asked.write_text("")
    paths = [str(blocked), *filter(None, [os.environ.get("PYTHONPATH")])]
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths), "ASKED": str(asked)},
        capture_output=True,
        text=True,
        check=False,
        input="0.0622\nstop\n",
    )
    return done, asked.read_text()


class Tags(html.parser.HTMLParser):
    """Collects what a browser would make of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.handlers: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        self.links += [value or "" for name, value in attrs if name in ("src", "href")]


def test_the_whole_job_runs_without_the_network(hostile: Path) -> None:
    assert (hostile / "outputs/evil/r01/report.html").is_file()


def test_the_network_is_refused_in_workers_too(tmp_path: Path) -> None:
    """What the job is run under would see it: a worker of the kernel's pool that looks up a name."""
    code = """
import socket
from pebble import ProcessPool
from partgen.core.worker_pool import CONTEXTS
for context in CONTEXTS.values():
    with ProcessPool(max_workers=1, context=context()) as pool:
        try:
            pool.schedule(socket.gethostbyname, ["localhost"]).result()
        except AssertionError as refused:
            print(refused)
"""
    done, asked = closed(tmp_path, tmp_path, code)
    assert done.returncode == 0 and asked.count("socket.gethostbyname") == len(CONTEXTS), done
    assert done.stdout.count("asked for the network") == len(CONTEXTS), done


def test_no_markup_of_a_profile_reaches_a_page(hostile: Path) -> None:
    pages = list((hostile / "outputs").rglob("*.html"))
    assert len(pages) >= 3
    for page in pages:
        text = page.read_text()
        seen = Tags()
        seen.feed(text)
        assert "<img src=x" not in text and "<script>alert" not in text, page
        assert "<i>p" not in text and '<b>&"' not in text, page  # the report has marks of its own in <b>
        assert not {"i", "iframe", "object", "embed"} & set(seen.tags), page
        assert not seen.handlers, page
        assert not [link for link in seen.links if link.startswith(("http", "//", "javascript"))], page


def test_no_cell_of_a_table_is_a_formula(hostile: Path) -> None:
    tables = list((hostile / "outputs").rglob("*.csv"))
    assert tables
    for table in tables:
        for row in csv.reader(table.read_text("utf-8-sig").splitlines()):
            for cell in row:
                number = cell.replace(".", "", 1).lstrip("+-").isdigit()
                assert number or not cell.startswith(("=", "+", "-", "@", "\t")) or cell in ("-", "–"), (table, cell)


def test_files_keep_to_their_folder_and_3mf_is_well_formed(hostile: Path) -> None:
    home = hostile / "outputs/evil/r01"
    names = [path.name for path in home.rglob("*") if path.is_file()]
    assert all(not set(name) & set("<>:\"/\\|?*=&'") for name in names), names
    assert {path.name for path in hostile.iterdir()} == {"profiles", "outputs", *GIVEN}
    for plate in home.glob("*.3mf"):
        with zipfile.ZipFile(plate) as packed:
            for name in packed.namelist():
                if name.endswith((".model", ".rels", ".xml")):
                    ET.fromstring(packed.read(name))


@pytest.mark.parametrize(
    "line",
    [
        'title = "{{ 7 * 7 }} {% for x in y %}"',
        "title = \"__import__('os').system('touch owned')\"",
        'title = "%s %n {0}"',
    ],
)
def test_nothing_in_a_profile_is_run_or_filled_in(tmp_path: Path, line: str) -> None:
    shutil.copy(ROOT / "profiles/harbour-lamp-tester.toml", tmp_path / "p.toml")
    text = (tmp_path / "p.toml").read_text().replace('title = "Harbour lamp tester"', line)
    (tmp_path / "p.toml").write_text(text)
    ended = run(tmp_path, "sheet", "p.toml", "--out", "out")
    assert ended.code == 0, ended
    assert not (tmp_path / "owned").exists()
    page = (tmp_path / "out/p/sheet.html").read_text()
    assert "49" not in page.split("</title>")[0]
