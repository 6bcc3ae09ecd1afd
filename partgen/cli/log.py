"""`partgen log`: revisions, trials, what changed and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from partgen.cli.common import OUTPUTS, Json, ProfilePath, Quiet, UnusedOut, UnusedPrinter, UnusedSeed, say, show_table

if TYPE_CHECKING:
    from partgen.profile.log_records import Log


def log(
    profile: ProfilePath,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--picture",
            metavar="FILE.svg",
            help="Also draw it: each position over the revisions, and the tilt.",
            show_default=False,
        ),
    ] = None,
    as_json: Json = False,
    printer: UnusedPrinter = None,
    seed: UnusedSeed = 0,
    out: UnusedOut = OUTPUTS,
    quiet: Quiet = False,
) -> None:
    """What was built, how it went, what changed from one revision to the next and why."""
    from partgen.jobs.inputs import last_differs
    from partgen.profile.load import load_profile
    from partgen.profile.log_file import log_path, read_log

    del out, printer, seed
    loaded = load_profile(profile)
    history = read_log(log_path(profile))
    if picture is not None and history.revision:
        _draw(picture, loaded.profile.title or profile.stem, history)
        say(f"Drawn in {picture}.", quiet=quiet)
    if as_json:
        print(_as_json(history))
        return
    if not history.revision:
        _print_withdrawn(history)
        say(f"Nothing has been built of {profile.name} yet. `partgen build {profile}` makes the first revision.")
        return
    if before := last_differs(history, profile, loaded.content_hash):
        say(f"The profile has changed since {before} was built.", quiet=quiet)
    _print_history(history)


def _as_json(history: Log) -> str:
    """The log without its texts; each trial says whether it counts."""
    import json

    document = history.model_dump(mode="json", exclude={"snapshot": True, "change": {"__all__": {"edit"}}})
    for trial, status in zip(document["trial"], history.statuses(), strict=True):
        trial["status"] = status
    return json.dumps(document, indent=2, ensure_ascii=False)


def _draw(picture: Path, title: str, history: Log) -> None:
    """The history as a picture, written whole or not at all."""
    from partgen.core.files import write_locked
    from partgen.views.revision_history import Moment, history_svg

    moments = [
        Moment(
            revision=r.id,
            date=r.date.isoformat(),
            states={built.label: built.state for built in r.built},
            made=frozenset(built.label for built in r.built if built.made_in == r.id),
            tilt=r.tilt_deg,
            tilt_u95=r.tilt_u95_deg,
            proud={t.label: t.proud_mm for _, t in history.counting() if t.revision == r.id and t.proud_mm is not None},
        )
        for r in history.revision
    ]
    write_locked(picture, (history_svg(title, moments) + "\n").encode())


def _print_history(history: Log) -> None:
    show_table(
        "Revisions",
        ["revision", "date", "printer", "made", "kept", "tilt °", "± U95", "all fit", "states"],
        [
            [
                r.id,
                r.date.isoformat(),
                r.printer,
                str(sum(b.made_in == r.id for b in r.built)),
                str(sum(b.made_in != r.id for b in r.built)),
                f"{r.tilt_deg:.2f}",
                f"{r.tilt_u95_deg:.2f}",
                f"{100 * r.p_all_fit:.1f} %",
                _states([b.state for b in r.built]),
            ]
            for r in history.revision
        ],
        numbers=[3, 4, 5, 6, 7],
    )
    for revision in history.revision:
        for built in revision.built:
            if built.why and built.made_in == revision.id and revision is not history.revision[0]:
                print(f"{revision.id} {built.label}: {built.why}")
    if history.trial:
        _print_trials(history)
    if history.withdrawn:
        print()
        _print_withdrawn(history)


def _print_withdrawn(history: Log) -> None:
    for gone in history.withdrawn:
        print(f"{gone.date.isoformat()} taken back: {gone.what}")


REMARKS = {
    "counts": "",
    "doubtful": "doubtful: does not count yet",
    "corrected": "corrected",
    "withdrawn": "taken back",
}


def _print_trials(history: Log) -> None:
    """All of them; what does not count says so, and what was confirmed."""
    gone = history.gone("confirmed")
    confirmed = {one.trial for number, one in enumerate(history.confirmed, 1) if number not in gone}
    remarks = [
        "confirmed" if number in confirmed and status == "counts" else REMARKS[status]
        for number, status in enumerate(history.statuses(), 1)
    ]
    weighed = any(t.held_g is not None or t.fell_g is not None for t in history.trial)
    print()
    show_table(
        "Trials",
        ["revision", "label", "proud mm", "feel", "grip", *(["held g", "fell g"] if weighed else []), "note",
         *([""] if any(remarks) else [])],
        [
            [
                t.revision,
                t.label,
                t.proud_seen or "" if t.proud_mm is None else f"{t.proud_mm:.2f}",
                " ".join(filter(None, [t.feel, t.side])),
                t.grip or "",
                *([f"{g:g}" if g is not None else "" for g in (t.held_g, t.fell_g)] if weighed else []),
                t.note,
                *([remark] if any(remarks) else []),
            ]
            for t, remark in zip(history.trial, remarks, strict=True)
        ],
        numbers=[2],
    )  # fmt: skip


def _states(states: list[str]) -> str:
    return ", ".join(f"{states.count(s)} {s}" for s in ("fail", "not proven", "pass") if s in states)
