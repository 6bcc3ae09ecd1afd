"""`partgen bench`: the whole job on a local page."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Annotated

import typer

from partgen.cli.common import OUTPUTS, OutDir, PrinterName, Quiet, Seed, say

PORT = 8473


def bench(
    profile: Annotated[
        Path,
        typer.Argument(metavar="PROFILE", help="The profile; else all panels of this folder.", show_default=False),
    ] = Path(),
    port: Annotated[
        int, typer.Option("--port", min=1024, max=65535, metavar="N", help="Where the page is served.")
    ] = PORT,
    network: Annotated[
        bool, typer.Option("--lan", help="Also for a phone or tablet on the local network; it has to enter a code.")
    ] = False,
    repeats: Annotated[int, typer.Option("--repeats", min=1, max=50, metavar="N", help="Readings wanted of each.")] = 3,
    printer: PrinterName = None,
    seed: Seed = 0,
    out: OutDir = OUTPUTS,
    show: Annotated[bool, typer.Option("--open", help="Opens it in the browser of this machine.")] = False,
    quiet: Quiet = False,
) -> None:
    """Opens the whole job as a page in the browser of this machine; nothing leaves it.

    A profile that does not exist yet is begun on the page. Everything lands in the same files that
    the other commands write. Ctrl-C ends it.
    """
    from partgen.web.serve import addresses, in_browser, qr_code, ready, serve

    folder, door, socket = ready(profile, out, port=port, network=network, printer=printer, seed=seed, repeats=repeats)
    for address in addresses(door):
        print(address, flush=True)
    if door.code is not None:
        say(qr_code(addresses(door)[-1]), quiet=quiet)
        say(f"On another device of this network, enter the code {door.code}. The network itself is not secret:")
        say("use it only where you trust everyone who is on it.", quiet=quiet)
    say("Open that address in a browser on this machine. Ctrl-C ends; everything is saved already.", quiet=quiet)
    with in_browser(addresses(door)[0]) if show else contextlib.nullcontext():
        serve(folder, door, socket)
