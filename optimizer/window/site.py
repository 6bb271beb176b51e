"""The site: which address gives which page, and what a button sets going.

What only some pages need is imported when they are asked for: the first answers at once.
"""

from __future__ import annotations

import asyncio
import json
import threading
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from optimizer.errors import InputError, KitpaceError
from optimizer.files import read_input, write_all
from optimizer.report import marks
from optimizer.window.doors import LARGEST_UPLOAD, SEALED
from optimizer.window.pages import asset, page, style
from optimizer.window.work import Work

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.requests import Request

    from optimizer.window.folder import Folder
    from optimizer.window.forms import Tried
    from optimizer.window.grids import Kind, TriedGrid
    from optimizer.window.views import View

__all__ = ["Site"]

MOST_FIELDS, LARGEST_FIELD = 40_000, 100_000  # of a form, and bytes of one of them
_LARGEST_PAGE = 100_000_000  # bytes of a report
_PAUSE, _FILES_EVERY = 0.25, 6  # s between looks at the work, looks between looks at the files


class Site:
    """All pages of one folder."""

    def __init__(self, folder: Folder, stop: Callable[[], None]) -> None:
        self.folder, self.work = folder, Work()
        self._stop, self._ended = stop, False
        self._writing = threading.Lock()

    def close(self) -> None:
        """End what is under way."""
        self._ended = True
        self.work.stop()

    def application(self) -> Starlette:
        """Give the routes as an ASGI application."""
        return Starlette(routes=[
            Route("/", self._start),
            Route("/race", self._race),
            Route("/season", self._season),
            Route("/race/{view}", self._sheet, methods=["GET", "POST"]),
            Route("/race/{view}/table", self._grid, methods=["POST"]),
            Route("/new", self._new, methods=["POST"]),
            Route("/new/season", self._new_season, methods=["POST"]),
            Route("/work", self._begin, methods=["POST"]),
            Route("/ride", self._ride, methods=["POST"]),
            Route("/work/stop", self._stop_work, methods=["POST"]),
            Route("/page/{name:path}", self._page),
            Route("/events", self._events),
            Route("/style.css", self._style),
            Route("/window.js", self._script),
            Route("/stop", self._end, methods=["POST"]),
        ], exception_handlers={KitpaceError: _explained, HTTPException: _missing})

    # --- pages ----------------------------------------------------------------------------

    def _start(self, request: Request) -> Response:
        del request
        folder = self.folder
        kinds = folder.kinds()
        return page("start.html", self, title=folder.root.name or str(folder.root), races=[
            folder.race(name) for name, kind in kinds.items() if kind == "race"],
            riders=[name for name, kind in kinds.items() if kind == "rider"],
            seasons=[folder.race(name) for name, kind in kinds.items() if kind == "season"],
            tables=folder.files(".csv"), tracks=folder.files(".gpx"),
            days={name: folder.day(name) for name, kind in kinds.items() if kind == "race"})

    def _race(self, request: Request) -> Response:
        race = self.folder.race(_name(request))
        return page("race.html", self, title=race.name, race=race, here="plan")

    def _season(self, request: Request) -> Response:
        """Show the season of a club at its earlier address."""
        return RedirectResponse(f"/race/season?{_query(_name(request))}", 303)

    async def _new(self, request: Request) -> Response:
        """Make a race of a track that was dropped."""
        from optimizer.window.new_race import new_race

        async with request.form(max_files=1, max_fields=5) as form:
            track = form.get("gpx")
            if isinstance(track, str) or track is None or not track.filename:
                raise InputError("new race", "", "names no track", "choose a GPX file")
            data, called = await track.read(), track.filename
            wanted = str(form.get("name", "")).strip()
        race = await run_in_threadpool(new_race, self.folder, called, data, wanted)
        return RedirectResponse(f"/race/rider?{_query(race)}", 303)

    async def _new_season(self, request: Request) -> Response:
        """Make a season of the races that were ticked."""
        from optimizer.window.new_race import new_season

        typed = await _typed(request)
        days = {name.removeprefix("race "): typed.get(f"day {name.removeprefix('race ')}", "")
                for name in typed if name.startswith("race ")}
        season = await run_in_threadpool(new_season, self.folder, typed.get("name", ""),
                                         typed.get("budget", ""), days)
        return RedirectResponse(f"/race/season?{_query(season)}", 303)

    async def _sheet(self, request: Request) -> Response:
        """Show a page with a form; try what was typed; write it where it is right."""
        from optimizer.window.forms import Tried

        view = self._view(request)
        if request.method != "POST":
            return await run_in_threadpool(self._shown, view, {}, Tried(),
                                           saved="saved" in request.query_params)
        typed = await _typed(request)
        if "drawn" in request.query_params:
            return await run_in_threadpool(self._drawn, view, typed)
        if request.headers.get("accept") == "application/json":
            return await run_in_threadpool(self._checked, view, typed)
        return await run_in_threadpool(self._saved, view, typed)

    async def _grid(self, request: Request) -> Response:
        """Try what was typed into a table; write it where it is right."""
        from optimizer.window.grids import KINDS

        view, typed = self._view(request), await _typed(request)
        kind = KINDS.get(typed.get("table", ""))
        if kind is None or kind.key not in view.grids:
            raise HTTPException(404)
        if request.headers.get("accept") == "application/json":
            tried = await run_in_threadpool(view.grid_try, kind, typed)
            return JSONResponse({"messages": {"": tried.whole, **tried.beside(kind)},
                                 "notes": tried.notes})
        return await run_in_threadpool(self._grid_saved, view, kind, typed)

    def _grid_saved(self, view: View, kind: Kind, typed: dict[str, str]) -> Response:
        from optimizer.window.forms import Tried

        with self._writing:
            tried = view.grid_try(kind, typed)
            if not tried.right:
                return self._shown(view, {}, Tried(), of_grid=(kind, typed, tried))
            write_all(view.grid_contents(kind, tried))
        return RedirectResponse(f"/race/{view.key}?{_query(view.race)}&saved#{kind.key}", 303)

    def _view(self, request: Request) -> View:
        from optimizer.window.views import VIEWS

        kind = VIEWS.get(request.path_params["view"])
        if kind is None:
            raise HTTPException(404)
        return kind(self.folder, _name(request))

    def _shown(self, view: View, typed: dict[str, str], tried: Tried, *, saved: bool = False,
               of_grid: tuple[Kind, dict[str, str], TriedGrid] | None = None) -> Response:
        from optimizer.window.grids import KINDS, shown

        race = self.folder.race(view.race)
        stamps = self.folder.stamps()
        grids = {key: shown(self.folder, KINDS[key], view.grid_file(KINDS[key]), {})
                 for key in view.grids}
        if of_grid is not None:
            kind, cells, of_cells = of_grid
            grids[kind.key] = shown(self.folder, kind, view.grid_file(kind), cells, of_cells)
        return page(
            f"{view.key}.html", self, title=race.name, race=race, here=view.key, tried=tried,
            c=view.controls(typed, tried), live=view.drawn(tried), caution=view.cautions(),
            saved="Saved." if saved else "", status=400 if tried.messages or of_grid else 200,
            files={name: stamps.get(name) for name in (
                *(sheet.name for sheet in view.sheets()), *(grid.file for grid in grids.values()))},
            grids=grids, written=view.page(), outdated=view.outdated(),
            **view.values())

    def _checked(self, view: View, typed: dict[str, str]) -> Response:
        """Say what is wrong with what was typed so far."""
        tried = view.try_out(typed)
        return JSONResponse({"messages": tried.messages, "notes": tried.notes})

    def _drawn(self, view: View, typed: dict[str, str]) -> Response:
        """Draw what was typed so far; nothing where it is not right."""
        tried = view.try_out(typed)
        return HTMLResponse("" if tried.messages else str(view.drawn(tried)))

    def _saved(self, view: View, typed: dict[str, str]) -> Response:
        """Write what was typed, all of it or nothing."""
        with self._writing:
            tried = view.try_out(typed)
            if tried.messages:
                return self._shown(view, typed, tried)
            write_all([(self.folder.path(name), text) for name, text in tried.texts.items()])
        if typed.get("then") == "plan":
            return self.begin("season" if view.key == "season" else "plan", view.race)
        return RedirectResponse(f"/race/{view.key}?{_query(view.race)}&saved", 303)

    def _page(self, request: Request) -> Response:
        """Give a page that kitpace wrote, sealed off from this site."""
        name = request.path_params["name"]
        path = self.folder.path(name)
        data = read_input(path, _LARGEST_PAGE)
        if path.suffix.lower() != ".html" or marks.PAGE not in data[:65536]:
            raise InputError(name, "", "is not a page of kitpace", "open it in another program")
        return Response(data, media_type="text/html; charset=utf-8",
                        headers={"content-security-policy": SEALED})

    # --- work -----------------------------------------------------------------------------

    async def _begin(self, request: Request) -> Response:
        form = await request.form(max_files=0)
        race, task = str(form.get("race", "")), str(form.get("task", ""))
        return await run_in_threadpool(self.begin, task, race, keep_kit="keep_kit" in form)

    def begin(self, task: str, race: str, *, keep_kit: bool = False) -> Response:
        """Set the work going that a button names, and show its race."""
        from optimizer.window import tasks

        self.folder.race(race)
        self.folder.check_inside(race)
        root = str(self.folder.root)
        if task == "plan":
            self.work.begin("plan", race, tasks.plan, root, race, keep_kit)
        elif task in tasks.TASKS:
            self.work.begin(task, race, tasks.TASKS[task], root, race)
        else:
            raise InputError(task[:40], "", "is not a task that kitpace knows",
                             "use a button of the page")
        return self._back(task, race)

    @staticmethod
    def _back(task: str, race: str) -> Response:
        """Show the page that work belongs to."""
        place = {"plan": "/race"}.get(task, f"/race/{task}")
        there = "#decision" if task in {"kit", "season"} else ""  # below the tables
        return RedirectResponse(f"{place}?{_query(race)}{there}", 303)

    async def _ride(self, request: Request) -> Response:
        """Keep a ride that was dropped, and hold it against the plan."""
        async with request.form(max_files=1, max_fields=5) as form:
            ride, race = form.get("ride"), str(form.get("race", ""))
            if isinstance(ride, str) or ride is None or not ride.filename:
                raise InputError("debrief", "", "names no ride", "choose a recorded ride")
            data, called = await ride.read(), ride.filename
        return await run_in_threadpool(self._debriefed, race, called, data)

    def _debriefed(self, race: str, called: str, data: bytes) -> Response:
        from optimizer.window import tasks
        from optimizer.window.new_race import keep_ride

        self.folder.race(race)
        self.folder.check_inside(race)
        name = keep_ride(self.folder, race, called, data)
        self.work.begin("debrief", race, tasks.debrief, str(self.folder.root), race, name)
        return self._back("debrief", race)

    async def _stop_work(self, request: Request) -> Response:
        del request
        state = self.work.state
        await run_in_threadpool(self.work.stop)
        return self._back(state.task, state.race) if state.race else RedirectResponse("/", 303)

    async def _end(self, request: Request) -> Response:
        del request
        await run_in_threadpool(self.close)
        self._stop()
        return page("stopped.html", self, title="kitpace has stopped")

    # --- what a page hears ----------------------------------------------------------------

    def _events(self, request: Request) -> Response:
        del request
        return StreamingResponse(self._told(), media_type="text/event-stream")

    async def _told(self) -> AsyncIterator[str]:
        """Tell a page of the work and of files that changed, until it or the server goes."""
        seen, stamps, count = -1, None, 0
        while not self._ended:
            state = self.work.state
            if state.number != seen:
                seen = state.number
                yield _event("work", state.seen())
            if count % _FILES_EVERY == 0:
                now = await run_in_threadpool(self.folder.stamps)
                if now != stamps:
                    stamps = now
                    yield _event("files", now)
                else:
                    yield ": still here\n\n"
            count += 1
            await asyncio.sleep(_PAUSE)

    # --- parts ----------------------------------------------------------------------------

    def _style(self, request: Request) -> Response:
        del request
        return Response(style(), media_type="text/css")

    def _script(self, request: Request) -> Response:
        del request
        return Response(asset("window.js"), media_type="text/javascript")


async def _typed(request: Request) -> dict[str, str]:
    """Fields of a form; several of one name are a list."""
    async with request.form(max_files=0, max_fields=MOST_FIELDS,
                            max_part_size=LARGEST_FIELD) as form:
        found: dict[str, str] = {}
        for key, value in form.multi_items():
            found[key] = "; ".join(filter(None, (found.get(key, ""), str(value))))
        return found


def _name(request: Request) -> str:
    return request.query_params.get("race", "")


def _query(race: str) -> str:
    from urllib.parse import urlencode

    return urlencode({"race": race})


def _event(kind: str, value: dict[str, Any]) -> str:
    return f"event: {kind}\ndata: {json.dumps(value)}\n\n"


def _explained(request: Request, error: Exception) -> Response:
    """Say what was not right, in the words of the command line."""
    del request
    return page("trouble.html", None, title="That did not work", status=400, error=error)


def _missing(request: Request, error: Exception) -> Response:
    del request
    assert isinstance(error, HTTPException)  # noqa: S101 - registered for it
    status = error.status_code
    if status == 413:
        said = InputError("what was sent", "", f"is more than {LARGEST_UPLOAD / 2**20:.0f} MB",
                          "is it the right file?")
        return page("trouble.html", None, title="That is too much", status=status, error=said)
    said = InputError("this address", "", "leads to no page", "go on from the start page")
    return page("trouble.html", None, title="There is no such page", status=status, error=said)
