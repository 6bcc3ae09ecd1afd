"""What the report says in plain words: states, the answer, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from partgen.core.findings import named
from partgen.metrology.questions import Question, grouped
from partgen.output.result_document import CheckDoc, FitDocument, PositionDoc, State
from partgen.output.status import pilot_words

STATE_WORD: dict[State, str] = {"pass": "proven", "not proven": "not proven", "fail": "fails"}
STATE_CLASS: dict[State, str] = {"pass": "ok", "not proven": "open", "fail": "bad"}
STATE_MEANING: dict[State, str] = {
    "pass": "right, even with everything that was measured being off as far as it may be",
    "not proven": "probably right, but the limit lies inside the measuring uncertainty: measure again, or accept "
    "the risk",
    "fail": "wrong, even with the measuring uncertainty in its favour: change something before printing",
}

_NOUNS = {"button-cap": "cap"}
"""Kinds that are called otherwise than in the profile."""
MOST_DRAWN = 160
FEELS = ("free", "rubs", "stuck")
GRIPS = ("loose", "holds", "tight")

METHODS = (
    "Uncertainty: JCGM 100:2008, Guide to the expression of uncertainty in measurement",
    "Chances: JCGM 101:2008, Propagation of distributions using a Monte Carlo method",
    "Proven, not proven, fails: ISO 14253-1:2017, Decision rules for verifying conformity",
    "A key in square brackets, such as [SHAFT-TABLE], stands for an entry of docs/sources.md",
    "Printing processes: ISO/ASTM 52900:2021, Additive manufacturing, General principles, Fundamentals and vocabulary",
)
"""What every report rests on; the fit document may add to it."""


@dataclass(frozen=True)
class Answer:
    """The first thing the report says. `state` colours it."""

    state: State
    headline: str
    detail: str
    owner: str = "Every one was checked against its hole, with the uncertainty of the measurements counted in."
    """In place of `detail`, for the owner, who neither measures nor prints."""


@dataclass(frozen=True)
class Task:
    """One position that needs attention, with the checks that say why."""

    index: int
    position: PositionDoc
    checks: tuple[CheckDoc, ...]


def noun(doc: FitDocument, count: int = 2) -> str:
    """ "cap", "caps", ... or "part(s)" for a mixed set."""
    kinds = {p.kind for p in doc.positions}
    if len(kinds) > 1:
        word = "part"
    else:
        (kind,) = kinds
        word = _NOUNS.get(kind, kind.replace("-", " "))
    return word if count == 1 else word + "s"


def count_states(doc: FitDocument) -> dict[State, int]:
    """How many positions are in each state."""
    counts: dict[State, int] = {"pass": 0, "not proven": 0, "fail": 0}
    for position in doc.positions:
        counts[position.state] += 1
    return counts


def answer(doc: FitDocument) -> Answer:
    """Will the set fit, and how sure is that: one headline and one sentence; and that it is a pilot, where it is."""
    found, pilot = _answer(doc), pilot_words(doc)
    return replace(found, detail=f"{found.detail} {pilot}") if pilot else found


def _answer(doc: FitDocument) -> Answer:
    counts, n = count_states(doc), len(doc.positions)
    things = noun(doc, n)
    if counts["fail"]:
        k = counts["fail"]
        one = k == 1
        return Answer(
            "fail",
            f"Not yet: {k} of {n} {things} {'does' if one else 'do'} not come out right.",
            f"See what to change below before you print {'it' if one else 'them'}."
            + (" The others may be printed." if counts["pass"] else ""),
            "What is wrong, and what will be changed, is listed below.",
        )
    if counts["not proven"]:
        k = counts["not proven"]
        return Answer(
            "not proven",
            f"Probably: {counts['pass']} of {n} {things} are proven to fit, {k} {'is' if k == 1 else 'are'} not.",
            "For those, measure again as said below, or print and accept the risk.",
            "For those the measurements leave a doubt; what may follow is listed below.",
        )
    if doc.set.state == "not proven":
        return _unread(doc)
    if doc.set.p_all_fit < doc.set.p_all_fit_wanted:
        return Answer(
            "not proven",
            f"Probably: every {noun(doc, 1)} passes by itself, but the whole set is less sure than you wanted.",
            "One more measurement helps most; it is named below.",
        )
    if doc.doubts:
        return Answer(
            "pass",
            f"Yes: all {n} {things} are expected to fit." if n > 1 else f"Yes: the {things} is expected to fit.",
            "A reading looks wrong, though, and was given little weight. Read it again first.",
        )
    return Answer(
        "pass",
        f"Yes: all {n} {things} are expected to fit." if n > 1 else f"Yes: the {things} is expected to fit.",
        "Nothing needs to be measured again. Print, try, and write down how it went.",
    )


def _unread(doc: FitDocument) -> Answer:
    """Where every part passes by itself, but readings disagree or something that decides was not read."""
    if doc.contradictions:
        return Answer(
            "not proven",
            f"Probably: every {noun(doc, 1)} passes, but readings of the same thing disagree.",
            "What disagrees, and what probably went wrong, is listed below. Read it again first.",
            "Two measurements of the same thing disagree; what may follow is listed below.",
        )
    return Answer(
        "not proven",
        f"Probably: every {noun(doc, 1)} passes, if what nobody read is as assumed.",
        "What was assumed, and what to read first, is named below.",
        "Some things were not measured but assumed; they are listed below.",
    )


MOST_TASKS = 8
"""More positions than these are listed together where they need the same."""


def doubts(doc: FitDocument) -> tuple[Question, ...]:
    """What is in question, one entry for each quantity and reason."""
    return grouped(doc.doubts)


def shared_tasks(found: Sequence[Task]) -> tuple[tuple[Task, str], ...]:
    """Tasks to list, each with the other positions that need the same, in words; "" where it stands alone.

    How proud each one fails to stand is said one by one: a person corrects it. So is everything in a small set.
    """
    groups: dict[object, list[Task]] = {}
    for task in found:
        codes = tuple(check.code for check in task.checks)
        part = task.position.part if "sizes" in codes else ""
        alone = len(found) <= MOST_TASKS or ("proud" in codes and task.position.state == "fail")
        groups.setdefault(task.index if alone else (task.position.state, codes, part), []).append(task)
    return tuple((same[0], named([task.position.label for task in same[1:]])) for same in groups.values())


def tasks(doc: FitDocument) -> tuple[Task, ...]:
    """Positions that need attention, the worst first, each with the checks that did not pass."""
    found = [
        Task(i, p, tuple(c for c in p.checks if c.state != "pass"))
        for i, p in enumerate(doc.positions)
        if p.state != "pass"
    ]
    return tuple(sorted(found, key=lambda task: task.position.state != "fail"))


def drawn(doc: FitDocument) -> frozenset[int]:
    """Positions that get drawings and reasons of their own: all, or in a very large set those that need it.

    A page with a thousand cards opens slowly and helps nobody; there, the sixty worst and the first
    position of each part are drawn.
    """
    if len(doc.positions) <= MOST_DRAWN:
        return frozenset(range(len(doc.positions)))
    first = {p.part: i for i, p in reversed(list(enumerate(doc.positions)))}
    return frozenset([*(task.index for task in tasks(doc)[:60]), *first.values()])


def stem(doc: FitDocument) -> str:
    """A file name's beginning: the profile's name and the revision."""
    name = doc.profile.removesuffix(".toml") or "panel"
    safe = "".join(c if c.isalnum() or c in "-_." else "-" for c in name)
    return f"{safe}-{doc.revision}" if doc.revision else safe
