"""The page's requests and what answers them.

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
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route

from partgen.core.errors import Fault, InputError, OutsideError, PartgenError
from partgen.scan.image import MOST_BYTES
from partgen.web import measure, new_panel, overview, printers, results, scan_actions, shape, trial, undoing
from partgen.web.access import App, Door, Guard, too_large
from partgen.web.actions import Action, FieldError, action_from
from partgen.web.folder import Folder
from partgen.web.template_pieces import STATIC, piece, static
from partgen.web.web_session import Job, Tab

SECTIONS = {"panel": "Panel", "measure": "Measure", "shape": "Shape", "build": "Print", "try": "Try"}
"""In the order of the work; `ASIDE` are reached from one of them."""
ASIDE = {"scan": "Scan", "printer": "Printer", "start": "A new panel"}
FRAMED = "sandbox allow-scripts allow-downloads allow-modals; frame-ancestors 'self'"
"""Report and solid run in a frame that cannot reach the page; each brings a policy of its own."""

PICTURE = "/picture"
"""Where a scan is sent to: the one request that may be large."""

Regions = dict[str, str]


def page_app(folder: Folder, door: Door) -> App:
    """The whole page behind its door."""
    answers = _Answers(folder)
    routes = [
        Route("/", answers.home),
        Route("/panels", answers.panels),
        Route("/new", answers.new),
        Route("/demo", answers.demo, methods=["POST"]),
        Route("/static/{name}", answers.static),
        Mount(
            "/p/{panel}",
            routes=[
                Route("/", answers.begin),
                Route("/do", answers.do, methods=["POST"]),
                Route("/more", answers.more, methods=["POST"]),
                Route("/now", answers.now),
                Route("/solid", answers.solid),
                Route(PICTURE, answers.take_picture, methods=["POST"]),
                Route("/picture/{number:int}", answers.picture),
                Route("/revision/{revision}/report", answers.report),
                Route("/revision/{revision}/all.zip", answers.whole),
                Route("/revision/{revision}/file/{name:path}", answers.file),
                Route("/sheet", answers.sheet),
                Route("/compare", answers.compare),
                Route("/coupon/{name}/{file}", answers.coupon),
                Route("/{section}", answers.section),
            ],
        ),
    ]

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        yield
        folder.close()

    handlers: dict[Any, Any] = {PartgenError: _refused, Exception: _failed}
    app = Starlette(routes=routes, lifespan=lifespan, exception_handlers=handlers)
    return Guard(app, door, large={PICTURE: MOST_BYTES})


class _Answers:
    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._looks = threading.Lock()
        """One scan is looked at, at a time."""

    def job(self, request: Request) -> Job:
        """The panel that a request is about. Raises InputError where the folder has none of that name."""
        return self.folder.job(request.path_params["panel"])

    def home(self, request: Request) -> Response:
        return RedirectResponse(_base(self.folder.first) + "/" if self.folder.first else "/panels", 303)

    def panels(self, request: Request) -> Response:
        html = piece("panels", panels=self.folder.panels(), home=self.folder.home.resolve().name, base=_base)
        return Response(html, media_type="text/html")

    def new(self, request: Request) -> Response:
        stem = request.query_params.get("name", "").strip()
        self.folder.job(stem)
        return RedirectResponse(f"{_base(stem)}/start", 303)

    def demo(self, request: Request) -> Response:
        return RedirectResponse(f"{_base(self.folder.take_demo())}/", 303)

    def begin(self, request: Request) -> Response:
        job = self.job(request)
        return RedirectResponse(f"{_base(job.path.stem)}/{'measure' if job.path.exists() else 'start'}", 303)

    def section(self, request: Request) -> Response:
        name, job = request.path_params["section"], self.job(request)
        base = _base(job.path.stem)
        with job.lock:
            job.refresh()
            if name == "start" and job.path.exists():
                return RedirectResponse(f"{base}/measure", 303)
            if name in {**SECTIONS, **ASIDE} and name != "start" and not job.path.exists():
                return RedirectResponse(f"{base}/start", 303)
            if name not in {**SECTIONS, **ASIDE}:
                return PlainTextResponse("There is no such page here.", 404)
            given: dict[str, object] = {"begin": new_panel.form(job)} if name == "start" else {}
            if name == "scan":
                given["scan"] = {"most": MOST_BYTES}
            words = {**SECTIONS, **ASIDE}[name]
            html = piece(f"page_{name}", page=name, word=words, sections=SECTIONS, job=job, base=base, **given)
        return Response(html, media_type="text/html")

    async def do(self, request: Request) -> Response:
        action = action_from(await request.body())
        return JSONResponse(await run_in_threadpool(self._do, self.job(request), action))

    def _do(self, job: Job, action: Action) -> dict[str, object]:
        early = ""
        if action.page == "printer" and action.do not in ("open", "undo") and job.file is not None:
            early = printers.act(job, job.tab(action.tab), action)  # takes long: the lock stays free
        with job.lock:
            if action.page == "start":
                new_panel.begin(job, action)
                return {"go": f"{_base(job.path.stem)}/measure"}
            job.refresh()
            if job.trouble:
                return {"put": {"trouble": piece("trouble", text=job.trouble)}, "stamps": job.stamps(), "held": True}
            tab = job.tab(action.tab)
            put: Regions = {"trouble": "", "conflict": ""}
            changed = -1 < tab.known < job.outside
            said = (
                early or "The profile was changed outside this page; it is shown as it stands now." if changed else ""
            )
            try:
                entries = action.page == "try" and bool(tab.entries)
                act = undoing.take_back if action.do == "undo" and not entries else _ACT[action.page]
                said = act(job, tab, action) or said
            except shape.ConflictError as conflict:
                put["conflict"] = piece("conflict", it=conflict)
            tab.known = job.outside
            put |= _REGIONS[action.page](job, tab)
            put["undo"] = undoing.button(job, tab, action)
            more = measure.answer(job, tab) if action.page == "measure" else {}
            return {"put": put, "say": said, "stamps": job.stamps(), **more}

    async def more(self, request: Request) -> Response:
        action = action_from(await request.body())
        return JSONResponse(await run_in_threadpool(self._more, self.job(request), action))

    def _more(self, job: Job, action: Action) -> dict[str, object]:
        with job.lock:
            if job.file is None or job.trouble:
                return {"put": {}}
            tab = job.tab(action.tab)
        put: Regions = {}
        if action.page == "measure":
            put = measure.slow_regions(job, tab)
        elif action.page == "shape":
            put = shape.previewed(job, tab, action if action.do == "typing" else None)
        elif action.page == "scan":
            put = scan_actions.slow_regions(job, tab)
        elif action.page == "try":
            put = {"changes": trial.changes(job)}
        return {"put": put}

    def now(self, request: Request) -> Response:
        job = self.job(request)
        with job.lock:
            found: dict[str, object] = {"stamps": job.stamps(), "state": job.making.now.state}
            if request.query_params.get("page") == "build":
                found["put"] = {"making": results.making_piece(job)}
        return JSONResponse(found)

    def solid(self, request: Request) -> Response:
        job = self.job(request)
        with job.lock:
            if job.file is None:
                raise InputError(Fault("the profile", "", job.trouble))
            tab = job.tab(request.query_params.get("tab", "")[:40])
        html = shape.solid(job, tab)
        return Response(html, media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    async def take_picture(self, request: Request) -> Response:
        how, job = scan_actions.how_from(dict(request.query_params)), self.job(request)
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
                put = await run_in_threadpool(scan_actions.receive, job, how, path)
        except OSError as error:
            raise OutsideError(
                f"the scan could not be kept while it was looked at: {error.strerror or error}"
            ) from error
        finally:
            self._looks.release()
        return JSONResponse({"put": put, "stamps": job.stamps()})

    def picture(self, request: Request) -> Response:
        held = self.job(request).looking
        if held is None or held.picture != request.path_params["number"]:
            return PlainTextResponse("There is no such picture here.", 404)
        return Response(held.looked.jpeg, media_type="image/jpeg")

    def static(self, request: Request) -> Response:
        name = request.path_params["name"]
        if name not in STATIC:
            return PlainTextResponse("There is no such file here.", 404)
        return Response(static(name), media_type="text/javascript" if name.endswith(".js") else "text/css")

    def report(self, request: Request) -> Response:
        path = results.file_of(self.job(request), request.path_params["revision"], "report.html")
        return Response(path.read_bytes(), media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    def sheet(self, request: Request) -> Response:
        html = overview.sheet(self.job(request))
        return Response(html, media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    def compare(self, request: Request) -> Response:
        before, after = (request.query_params.get(key, "") for key in ("before", "after"))
        html = results.compared(self.job(request), before, after)
        return Response(html, media_type="text/html", headers={"Content-Security-Policy": FRAMED})

    def coupon(self, request: Request) -> Response:
        path = printers.coupon_file(self.job(request), request.path_params["name"], request.path_params["file"])
        if path.suffix == ".html":
            return Response(path.read_bytes(), media_type="text/html", headers={"Content-Security-Policy": FRAMED})
        return _download(path.read_bytes(), path.name)

    def whole(self, request: Request) -> Response:
        revision, job = request.path_params["revision"], self.job(request)
        return _download(results.whole(job, revision), f"{job.path.stem}-{revision}.zip")

    def file(self, request: Request) -> Response:
        path = results.file_of(self.job(request), request.path_params["revision"], request.path_params["name"])
        return _download(path.read_bytes(), path.name)


def _base(stem: str) -> str:
    """Where a panel's pages lie."""
    return f"/p/{quote(stem, safe='')}"


def _download(data: bytes, name: str) -> Response:
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
    "panel": overview.act,
    "printer": lambda job, tab, action: "",
    "scan": scan_actions.act,
    "measure": measure.act,
    "shape": shape.act,
    "build": results.act,
    "try": trial.act,
}
_REGIONS: dict[str, Callable[[Job, Tab], Regions]] = {
    "panel": overview.regions,
    "printer": printers.regions,
    "scan": scan_actions.regions,
    "measure": measure.regions,
    "shape": shape.regions,
    "build": results.regions,
    "try": trial.regions,
}


def _refused(request: Request, error: Exception) -> Response:
    status = 400 if isinstance(error, InputError) else 500
    if request.url.path.endswith(("/do", "/more", PICTURE)):
        fields = error.fields if isinstance(error, FieldError) else {}
        return JSONResponse({"refused": str(error), "fields": fields}, status)
    return PlainTextResponse(str(error), 404 if status == 400 and request.method == "GET" else status)


def _failed(request: Request, error: Exception) -> Response:
    said = f"partgen could not go on: {type(error).__name__}: {error}. Nothing you measured was changed."
    if request.url.path.endswith(("/do", "/more", PICTURE)):
        return Response(json.dumps({"refused": said}), 500, media_type="application/json")
    return PlainTextResponse(said, 500)
