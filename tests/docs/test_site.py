"""The docs build without a warning, and every command in them runs."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import textwrap
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from partgen.cli.app import app
from partgen.profile.validate import profile_from_tables

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"


def shell_blocks(page: Path) -> list[str]:
    """Every block of commands, also one that stands under an item of a list."""
    found = re.findall(r"^( *)```sh\n(.*?)^ *```", page.read_text(encoding="utf-8"), flags=re.S | re.M)
    return [textwrap.dedent(block) for _, block in found]


def run(block: str, folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    """A block as a person would paste it into a shell, with this environment's partgen first on the path."""
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    return subprocess.run(
        ["sh", "-e", "-c", block],
        cwd=folder,
        env={**os.environ, "PATH": path},
        input=typed,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_site_builds_with_warnings_as_errors_and_no_broken_link(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-b", "html", str(DOCS), str(tmp_path / "site")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert "travel" in (tmp_path / "site" / "reference" / "profile.html").read_text(encoding="utf-8")
    for page in (tmp_path / "site").rglob("*.html"):  # built offline, and needs no network to be read
        text = page.read_text(encoding="utf-8")
        outside = re.findall(r'(?:src|href)="https?://[^"]+\.(?:js|css)"', text)
        assert not outside, page


PAGES = sorted(page for page in (DOCS / "howto").glob("*.md") if shell_blocks(page))


@pytest.mark.sample(2)
@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.stem)
def test_how_to_commands_run(page, tmp_path):
    """In a folder that holds what the pages speak of: a profile called my-panel (README's), and filled forms."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (tmp_path / "profiles").mkdir()
    profile = re.search(r"```toml\n(.*?)```", readme, flags=re.S)[1]
    (tmp_path / "profiles" / "my-panel.toml").write_text(profile, encoding="utf-8")
    for block in shell_blocks(page):
        for form in tmp_path.glob("outputs/*/coupon/readings.csv"):
            fill(form)
        done = run(block, tmp_path)
        assert done.returncode == 0, f"{block}\n{done.stdout[-1500:]}\n{done.stderr[-1500:]}"


def fill(form: Path) -> None:
    """What a person would read of a coupon that printed well: bores small, everything else large by a little."""
    head, *rows = form.read_text(encoding="utf-8").splitlines()
    lines = [head]
    for number, name, *filled in (row.split(",") for row in rows):
        if name == "material":
            lines.append(",".join([number, name, *filled]))
            continue
        nominal = 10.0 if name.startswith("tongue") else float(name.rpartition("-")[2])
        error = -0.15 if name.startswith("bore") else 0.15 if name == "tongue-bed" else 0.04
        lines.append(",".join([number, name, *(f"{nominal + error + 0.01 * k:.2f}" for k in (-1, 0, 1))]))
    form.write_text("\n".join(lines) + "\n", encoding="utf-8")


TABLES = [
    (page, textwrap.dedent(block))
    for page in [*sorted(DOCS.glob("*.md")), *sorted((DOCS / "howto").glob("*.md"))]
    for _, block in re.findall(r"^( *)```toml\n(.*?)^ *```", page.read_text(encoding="utf-8"), flags=re.S | re.M)
]


@pytest.mark.parametrize(("page", "block"), TABLES, ids=[page.stem for page, _ in TABLES])
def test_every_piece_of_a_profile_on_a_page_is_one(page, block):
    """A piece is laid over README's profile: its tables over those of the same name, single keys over a position's."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    whole = tomllib.loads(re.search(r"```toml\n(.*?)```", readme, flags=re.S)[1])
    piece = tomllib.loads(block)
    if not block.lstrip().startswith("["):
        whole["position"][0].update(piece)
    else:
        lay_over(whole, piece)
    profile, faults = profile_from_tables(whole, page.name)
    assert profile is not None, [str(fault) for fault in faults]


def lay_over(whole: dict, piece: dict) -> None:
    for key, value in piece.items():
        if isinstance(value, dict) and isinstance(whole.get(key), dict):
            lay_over(whole[key], value)
        elif isinstance(value, list) and isinstance(whole.get(key), list) and isinstance(value[0], dict):
            whole[key] += value
        else:
            whole[key] = value


def test_links_between_the_pages_of_the_checkout_lead_somewhere():
    """Those that Sphinx does not see."""
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md"):
        for link in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (ROOT / link).exists(), f"{page.name}: {link}"


def test_every_command_line_on_a_page_names_a_command_and_options_that_there_are():
    """Also those that no test runs, since they need hands, a scanner or a browser."""
    options = {
        str(c.name or c.callback.__name__): {
            o
            for p in get_command(app).commands[c.name or c.callback.__name__].params
            for o in (*p.opts, *p.secondary_opts)
        }
        for c in app.registered_commands
    }
    lines = 0
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *DOCS.glob("*.md"), *(DOCS / "howto").glob("*.md")]:
        text = page.read_text(encoding="utf-8").replace("\\\n", " ")
        code = "\n".join(
            [*re.findall(r"```(?:sh|text)\n(.*?)```", text, flags=re.S), *re.findall(r"`([^`\n]+)`", text)]
        )
        for line in re.findall(r"^\s*partgen ([a-z]+(?: [^\n#]*)?)", code, flags=re.M):
            words = line.split()
            assert words[0] in options, f"{page.name}: partgen {line}"
            used = {word.partition("=")[0] for word in words[1:] if re.match(r"--[a-z]", word)}
            assert used <= options[words[0]] | {"--help"}, f"{page.name}: partgen {line}"
            lines += 1
    assert lines > 30


def test_what_the_tutorial_shows_is_what_it_prints_today():
    """Its texts are kept by docs/pictures.py: run `poe pictures` when this fails."""
    shown = (DOCS / "pictures" / "tutorial-predict.txt").read_text(encoding="utf-8")
    rows = {line.split()[0]: line.split() for line in shown.splitlines() if re.match(r"[AB]\d ", line)}
    assert sorted(rows) == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert all(row[-1] == "pass" for row in rows.values())
    assert float(rows["A1"][2]) < float(rows["A2"][2]) < float(rows["A3"][2])


def test_every_picture_that_a_page_shows_is_there_and_none_is_left_over():
    pages = [ROOT / "README.md", *DOCS.rglob("*.md")]
    named = {
        Path(name).name for page in pages for name in re.findall(r"pictures/([\w-]+\.(?:png|txt))", page.read_text())
    }
    assert named == {path.name for path in (DOCS / "pictures").iterdir()}


def test_every_test_that_the_mathematics_names_exists():
    text = (DOCS / "mathematics.md").read_text(encoding="utf-8")
    files = set(re.findall(r"`(tests/[\w/]+(?:\.py)?)", text))
    assert files and all((ROOT / name).exists() for name in files), files
    for name in re.findall(r"::(test_\w+)`", text):
        found = subprocess.run(
            ["grep", "-rlE", f"def {name}\\(", str(ROOT / "tests")], capture_output=True, text=True, check=False
        )
        assert found.stdout, name


def test_the_reference_in_the_repository_is_what_the_code_says(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(DOCS))
    import reference_pages

    reference_pages.write(tmp_path)
    made = {page.name: page.read_text(encoding="utf-8") for page in tmp_path.glob("*.md")}
    there = {page.name: page.read_text(encoding="utf-8") for page in (DOCS / "reference").glob("*.md")}
    assert [name for name in made.keys() | there.keys() if made.get(name) != there.get(name)] == [], "poe reference"


def test_every_key_on_a_reference_page_has_its_meaning(tmp_path, monkeypatch):
    """From the code where it says so, else from docs/meanings.py; what a drawing is made from speaks for itself."""
    monkeypatch.syspath_prepend(str(DOCS))
    import reference_pages

    reference_pages.write(tmp_path)
    silent = []
    for page in tmp_path.glob("*.md"):
        heading = ""
        for line in page.read_text(encoding="utf-8").splitlines():
            heading = line if line.startswith("## ") else heading
            if line.startswith("| `") and line.endswith("|  |") and "positions.drawing" not in heading:
                silent.append(f"{page.name} {heading} {line}")
    assert not silent, "\n".join(silent)


def test_readmes_commands_run_one_after_another(tmp_path):
    """Those of its second block, with the questions of `start` answered by options and the others' typed ahead."""
    lines = next(b for b in shell_blocks(ROOT / "README.md") if "partgen start" in b).splitlines()
    lines = [line.partition("#")[0].strip() for line in lines if line.startswith("partgen")]
    assert [line.split()[1] for line in lines] == ["start", "measure", "predict", "build", "trial", "build"]
    lines[0] += (
        ' --rows 1 --columns 2 --pitch 19 --hole "round 9.0" --thickness 2.03 --seat "round 3.0"'
        " --seat-length 4.0 --travel 1.5 --drop 4.3 --proud 2.0 --yes"
    )
    typed = {1: "go A2\n4.62\n4.60\nstop\n", 4: "1.9\nfree\nholds\n\n" * 2}
    for number, line in enumerate(lines):
        done = run(line, tmp_path, typed.get(number, ""))
        assert done.returncode in (0, 1) if number != 4 else done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
    assert (tmp_path / "outputs/my-panel/r01/report.html").is_file()


def test_every_formula_has_a_source_and_a_test():
    rows = [
        [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
        for line in (DOCS / "mathematics.md").read_text(encoding="utf-8").splitlines()
        if line.startswith("| ")
    ]
    assert len(rows) > 25
    for row in rows:
        assert len(row) == 4 and all(row), row
        assert row[3] in ("test", "the same") or "test_" in row[3], row


def test_readme_lists_the_very_files_that_a_build_makes():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in ("report.html", "fit.json", "A1-r01.stl", "plate-1.3mf"):
        assert name in readme
