"""The page's requests and what answers them. May import: scan, errors, bench.*; starlette.

What was refused answers 400 with sentences; whatever else fails answers 500 with one, never a traceback.
"""

from __future__ import annotations

import contextlib
import json
import mimetypes
import tempfile
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from partgen.bench import beginning, measure, results, scanning, shape, trial
from partgen.bench.actions import Action, action_from
from partgen.bench.door import App, Door, Guard, too_large
from partgen.bench.job import Job, Tab
from partgen.bench.pieces import piece, static
from partgen.errors import Fault, InputError, OutsideError, PartgenError
from partgen.scan.image import MOST_BYTES

SECTIONS = {"scan": "Scan", "measure": "Measure", "shape": "Shape", "build": "Build", "try": "Try"}
FRAMED = "sandbox allow-scripts allow-downloads allow-modals; frame-ancestors 'self'"
"""Report and solid run in a frame that cannot reach the page; each brings a policy of its own."""

PICTURE = "/picture"
"""Where a scan is sent to: the one request that may be large."""

Regions = dict[str, str]


def page_app(job: Job, door: Door) -> App:
    """The whole page behind its door."""
    answers = _Answers(job)
    routes = [
        Route("/", answers.home),
        Route("/do", answers.do, methods=["POST"]),
        Route("/more", answers.more, methods=["POST"]),
        Route("/now", answers.now),
        Route("/solid", answers.solid),
        Route(PICTURE, answers.take_picture, methods=["POST"]),
        Route("/picture/{number:int}", answers.picture),
        Route("/static/{name}", answers.static),
        Route("/revision/{revision}/report", answers.report),
        Route("/revision/{revision}/all.zip", answers.whole),
        Route("/revision/{revision}/file/{name:path}", answers.file),
        Route("/{section}", answers.section),
    ]

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        yield
        job.close()

    handlers: dict[Any, Any] = {PartgenError: _refused, Exception: _failed}
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers=handlers)
    return Guard(app, door, large={PICTURE: MOST_BYTES})


class _Answers:
    def __init__(self, job: Job) -> None:
        self.job = job
        self._looks = threading.Lock()
        """One scan is looked at, at a time."""

    def home(self, request: Request) -> Response:
        with self.job.lock:
            self.job.refresh()
            return RedirectResponse("/measure" if self.job.path.exists() else "/start", 303)

    def section(self, request: Request) -> Response:
        name, job = request.path_params["section"], self.job
        with job.lock:
            job.refresh()
            if name == "start" and job.path.exists():
                return RedirectResponse("/measure", 303)
            if name in SECTIONS and not job.path.exists():
                return RedirectResponse("/start", 303)
            if name == "start":
                html = piece("base", page=name, sections=SECTIONS, job=job, begin=beginning.form(job))
            elif name in SECTIONS:
                scan = {"most": MOST_BYTES}
                html = piece("base", page=name, sections=SECTIONS, job=job, begin="", scan=scan)
            else:
                return PlainTextResponse("There is no such page here.", 404)
        return Response(html, media_type="text/html")

    async def do(self, request: Request) -> Response:
        action = action_from(await request.body())
        return JSONResponse(await run_in_threadpool(self._do, action))

    def _do(self, action: Action) -> dict[str, object]:
        job = self.job
        with job.lock:
            if action.page == "start":
                beginning.begin(job, action)
                return {"go": "/measure"}
            job.refresh()
            if job.trouble:
                return {"put": {"trouble": piece("trouble", text=job.trouble)}, "stamps": job.stamps(), "held": True}
            tab = job.tab(action.tab)
            put: Regions = {"trouble": "", "conflict": ""}
            changed = -1 < tab.known < job.outside
            said = "The profile was changed outside this page; it is shown as it stands now." if changed else ""
            try:
                said = _ACT[action.page](job, tab, action) or said
            except shape.ConflictError as conflict:
                put["conflict"] = piece("conflict", it=conflict)
            tab.known = job.outside
            put |= _REGIONS[action.page](job, tab)
            return {"put": put, "say": said, "stamps": job.stamps()}

    async def more(self, request: Request) -> Response:
        action = action_from(await request.body())
        return JSONResponse(await run_in_threadpool(self._more, action))

    def _more(self, action: Action) -> dict[str, object]:
        job = self.job
        with job.lock:
            if job.file is None or job.trouble:
                return {"put": {}}
            tab = job.tab(action.tab)
        put: Regions = {}
        if action.page == "measure":
            put = measure.slow_regions(job, tab)
        elif action.page == "shape":
            put = {"preview": shape.previewed(job, tab, action if action.do == "typing" else None)}
        elif action.page == "scan":
            put = scanning.slow_regions(job, tab)
        elif action.page == "try":
            put = {"changes": trial.changes(job)}
        return {"put": put}

    def now(self, request: Request) -> Response:
        with self.job.lock:
            found: dict[str, object] = {"stamps": self.job.stamps(), "state": self.job.making.now.state}
            if request.query_params.get("page") == "build":
                found["put"] = {"making": results.making_piece(self.job)}
        return JSONResponse(found)

    def solid(self, request: Request) -> Response:
        with self.job.lock:
            if self.job.file is None:
                raise InputError(Fault("the profile", "", self.job.trouble))
            tab = self.job.tab(request.query_params.get("tab", "")[:40])
        html = shape.solid(self.job, tab)
        return Response(html, media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    async def take_picture(self, request: Request) -> Response:
        how = scanning.how_from(dict(request.query_params))
        if not self._looks.acquire(blocking=False):
            async for _ in request.stream():  # an answer over an unread body may be lost
                pass
            return JSONResponse(
                {"refused": "Another scan is being looked at. Drop this one again when it is done."}, 409
            )
        try:
            with tempfile.TemporaryDirectory(prefix="partgen-") as folder:
                path = Path(folder) / "the-dropped-picture"
                size = 0
                with path.open("wb") as file:
                    async for part in request.stream():
                        size += len(part)
                        if size > MOST_BYTES:  # the length was not said, or wrong
                            return JSONResponse({"refused": too_large(MOST_BYTES)}, 413, {"Connection": "close"})
                        file.write(part)
                put = await run_in_threadpool(scanning.receive, self.job, how, path)
        except OSError as error:
            raise OutsideError(
                f"the scan could not be kept while it was looked at: {error.strerror or error}"
            ) from error
        finally:
            self._looks.release()
        return JSONResponse({"put": put, "stamps": self.job.stamps()})

    def picture(self, request: Request) -> Response:
        held = self.job.looking
        if held is None or held.picture != request.path_params["number"]:
            return PlainTextResponse("There is no such picture here.", 404)
        return Response(held.looked.jpeg, media_type="image/jpeg")

    def static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in ("page.js", "page.css", "report.css"):
            return PlainTextResponse("There is no such file here.", 404)
        return Response(static(name), media_type="text/javascript" if name.endswith(".js") else "text/css")

    def report(self, request: Request) -> Response:
        path = results.file_of(self.job, request.path_params["revision"], "report.html")
        return Response(path.read_bytes(), media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    def whole(self, request: Request) -> Response:
        revision = request.path_params["revision"]
        data = results.whole(self.job, revision)
        return _download(data, f"{self.job.path.stem}-{revision}.zip")

    def file(self, request: Request) -> Response:
        path = results.file_of(self.job, request.path_params["revision"], request.path_params["name"])
        return _download(path.read_bytes(), path.name)


def _download(data: bytes, name: str) -> Response:
    from urllib.parse import quote

    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return Response(
        data,
        media_type=kind,
        headers={
            "Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}",
            "Content-Security-Policy": "sandbox",
        },
    )


_ACT: dict[str, Callable[[Job, Tab, Action], str]] = {
    "scan": scanning.act,
    "measure": measure.act,
    "shape": shape.act,
    "build": results.act,
    "try": trial.act,
}
_REGIONS: dict[str, Callable[[Job, Tab], Regions]] = {
    "scan": scanning.regions,
    "measure": measure.regions,
    "shape": shape.regions,
    "build": results.regions,
    "try": trial.regions,
}


def _refused(request: Request, error: Exception) -> Response:
    status = 400 if isinstance(error, InputError) else 500
    if request.url.path in ("/do", "/more", PICTURE):
        return JSONResponse({"refused": str(error)}, status)
    return PlainTextResponse(str(error), 404 if status == 400 and request.method == "GET" else status)


def _failed(request: Request, error: Exception) -> Response:
    said = f"partgen could not go on: {type(error).__name__}: {error}. Nothing you measured was changed."
    if request.url.path in ("/do", "/more", PICTURE):
        return Response(json.dumps({"refused": said}), 500, media_type="application/json")
    return PlainTextResponse(said, 500)
