"""Ways to spoil a text: what slips of hand, spreadsheets, editors and ill will do to a file."""

from __future__ import annotations

import re
from collections.abc import Sequence

from hypothesis import strategies as st

NASTY_NUMBERS = (
    "nan",
    "inf",
    "-inf",
    "+nan",
    "0",
    "0.0",
    "-0.0",
    "-1",
    "-4.31",
    "1e308",
    "-1e308",
    "1e-308",
    "5e-324",
    "1e999",
    "1e-9",
    "1e9",
    "9" * 400,
    "0.1e-400",
    "99999999999999999999",
    "4,31",
    "4.31.2",
    "0x10",
    "0b1",
    "1_000",
    "true",
    "[]",
    "[[]]",
    "{}",
    '""',
    '" "',
    '"nan"',
    '"inf mm"',
    '"4.31 parsec"',
    '"9**9**9"',
    '"1 9**9**9**9"',
    '"4.31 mm**99999999"',
    '"1/0"',
    '"0/1"',
    '"11/64 in"',
    '"1e400 mm"',
    '"4.31 ± 0"',
    '"4.31 ± nan"',
    '"4.31 ± 1e300"',
    '"± 3"',
    '"0.001 km"',
    "\"1 __import__('os')\"",
    "2026-11-25",
    "25:61:61",
    '"' + "9" * 61 + '"',
    "[nan]",
    "[4.3, inf]",
    "[4.3, 9.9, 0.5]",
    "[0, 0]",
    "[1, 2, 3, 4]",
    '["4.3", "4.3"]',
    "[" * 60 + "]" * 60,
    "{a = 1}",
    "0.2",
    "0.8",
    "1000",
    "-1000",
    "150",
    "2.02",
    "r01",
    '"r01"',
    '"r99"',
    '"../x"',
    '"a\\u0000b"',
    '"\\u202e"',
    "'''\nx'''",
    "00",
    "1.",
    ".5",
)
NASTY_CHARACTERS = (
    "\0",
    "\x1b[31m",
    "\r",
    "\n",
    "\ufeff",
    "\u202e",
    "é",
    "µ",
    "’",
    "“",
    '"',
    "'",
    "[",
    "]",
    "{",
    "}",
    "=",
    "#",
    ",",
    ";",
    "\t",
    "\\",
    "<script>",
    "]]>",
    "=cmd|' /C calc'!A0",
    "\U0001f600",
    "e\u0301",
    "±",
)
_NUMBER = re.compile(r"(?<![\w.#-])[-+]?\d+(?:\.\d+)?(?![\w.])")
_WORD = re.compile(r"[A-Za-z_][\w-]{2,}")


@st.composite
def mutated(draw: st.DrawFn, text: str, most: int = 4) -> str:
    """The text after one to `most` changes."""
    for _ in range(draw(st.integers(1, most))):
        text = draw(st.sampled_from(CHANGES))(draw, text)
        if not text:
            break
    return text


def _spot(draw: st.DrawFn, pattern: re.Pattern[str], text: str) -> re.Match[str] | None:
    found = list(pattern.finditer(text))
    return found[draw(st.integers(0, len(found) - 1))] if found else None


def _number(draw: st.DrawFn, text: str) -> str:
    spot = _spot(draw, _NUMBER, text)
    if spot is None:
        return text
    new = draw(st.sampled_from(NASTY_NUMBERS) | st.floats(width=64).map(repr) | st.integers(-99, 9999).map(str))
    return text[: spot.start()] + new + text[spot.end() :]


def _scaled(draw: st.DrawFn, text: str) -> str:
    """A slip of the decimal point, a sign, a millimetre for an inch: the number stays a number."""
    spot = _spot(draw, _NUMBER, text)
    if spot is None:
        return text
    factor = draw(st.sampled_from((0.0, -1.0, 0.1, 10.0, 25.4, 1 / 25.4, 1.5, 0.5, 1e-6, 1e6, 1.01)))
    return text[: spot.start()] + repr(round(float(spot[0]) * factor, 9)) + text[spot.end() :]


def _word(draw: st.DrawFn, text: str) -> str:
    """One word for another one of the same text."""
    spot, other = _spot(draw, _WORD, text), _spot(draw, _WORD, text)
    return text if spot is None or other is None else text[: spot.start()] + other[0] + text[spot.end() :]


def _letters(draw: st.DrawFn, text: str) -> str:
    at = draw(st.integers(0, len(text) - 1))
    new = draw(st.sampled_from(NASTY_CHARACTERS) | st.characters(codec="utf-8"))
    return text[:at] + new + text[at + draw(st.integers(0, 2)) :]


def _lines(draw: st.DrawFn, text: str) -> str:
    """A line deleted, doubled, or moved."""
    lines = text.split("\n")
    here, there = draw(st.integers(0, len(lines) - 1)), draw(st.integers(0, len(lines) - 1))
    what = draw(st.sampled_from(("delete", "double", "move", "block")))
    if what == "block":
        few = lines[here : here + draw(st.integers(1, 12))]
        lines[there:there] = few
    elif what == "double":
        lines.insert(there, lines[here])
    else:
        line = lines.pop(here)
        if what == "move":
            lines.insert(there, line)
    return "\n".join(lines)


def _cut(draw: st.DrawFn, text: str) -> str:
    return text[: draw(st.integers(0, len(text)))]


CHANGES = (_number, _number, _number, _scaled, _scaled, _scaled, _word, _letters, _lines, _lines, _cut)


def encoded(text: str) -> st.SearchStrategy[bytes]:
    """The text as bytes: mostly UTF-8, sometimes as other programs would save it, or spoilt."""
    usual = text.encode("utf-8", errors="surrogatepass")
    odd: Sequence[bytes] = (
        usual.replace(b"\n", b"\r\n"),
        b"\xef\xbb\xbf" + usual,
        text.encode("utf-16", errors="replace"),
        text.encode("latin-1", errors="replace"),
        usual.replace(b"\n", b"\r"),
        usual + b"\xff\xfe",
        usual[:-3],
        b"",
        usual + b"\0" * 64,
        usual + b"\n" + b"#" * 5000,
    )
    return st.integers(0, 9).flatmap(lambda n: st.sampled_from(odd) if n == 0 else st.just(usual))
