"""The desk's addresses: its page and what belongs to it, and below /api/ what the page asks for (`asked`).

Whatever takes time runs in threads. Heavy imports wait until something is asked for: the page is there at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from layerpreview.desk.answers import (
    IMMUTABLE,
    answered,
    body_of,
    nothing,
    picture_answer,
    problems,
    refused,
    static_files,
)
from layerpreview.desk.desk import Desk
from layerpreview.desk.first import first_picture
from layerpreview.desk.guard import UPLOADS, confined
from layerpreview.desk.loading import LOADING
from layerpreview.desk.phone_app import day_photo, photo_answer
from layerpreview.errors import LayerPreviewError

ALONE = "; ".join(
    (
        "sandbox allow-scripts allow-downloads allow-modals",
        "default-src 'none'",
        "script-src 'unsafe-inline' blob: data:",
        "style-src 'unsafe-inline'",
        "img-src data: blob:",
        "font-src data:",
        "connect-src data: blob:",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""A page of the job, as a client's board, works by itself: it is of no origin, so that the desk answers it nothing."""
IN_NO_FRAME = "frame-ancestors 'none'"
"""A browser's own viewer of PDF has scripts and styles that no policy of ours knows of."""


def make_app(desk: Desk) -> Starlette:
    """The app of one desk, not guarded yet."""
    static = static_files()

    async def page(request: Request) -> Response:
        return static["begin.html" if desk.path is None else "desk.html"]()

    async def begin(request: Request) -> Response:
        return static["begin.html"]()

    async def day(request: Request) -> Response:
        return static["begin.html" if desk.path is None else "day.html"]()

    async def again(request: Request) -> Response:
        return static["again.html"]()

    async def shelf_answer(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(_answered_shelf, desk, request, body)

    async def book(request: Request) -> Response:
        return await run_in_threadpool(_book, desk)

    async def practise(request: Request) -> Response:
        return static["practise.html"]()

    async def part(request: Request) -> Response:
        name = request.path_params["name"]
        return static[name]() if name in static and not name.endswith(".html") else nothing()

    async def answer(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(_answered, desk, request, body)

    async def begin_answer(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(_answered_begin, desk, request, body)

    async def practise_answer(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(_answered_practise, desk, request, body)

    async def practise_picture(request: Request) -> Response:
        return await run_in_threadpool(_practise_picture, desk, request)

    async def upload(request: Request) -> Response:
        data = await request.body()
        return await run_in_threadpool(_upload, desk, request, data)

    async def begin_picture(request: Request) -> Response:
        return await run_in_threadpool(_begin_picture, desk, request)

    async def texture(request: Request) -> Response:
        data = await run_in_threadpool(_texture, request.path_params["name"])
        if data is None:
            return problems(404, ["this picture is no longer kept; ask for it again"])
        return Response(data, media_type="application/octet-stream", headers=IMMUTABLE)

    async def frame(request: Request) -> Response:
        return await run_in_threadpool(_frame, desk, request.query_params)

    async def first(request: Request) -> Response:
        data = await run_in_threadpool(first_picture, desk.path)
        return Response(status_code=204) if data is None else Response(data, media_type="image/jpeg")

    async def shown(request: Request) -> Response:
        return await run_in_threadpool(photo_answer, desk, request.path_params["name"])

    async def file(request: Request) -> Response:
        return await run_in_threadpool(_file, desk, request.path_params["name"])

    return Starlette(
        routes=[
            Route("/", page),
            Route("/static/{name}", part),
            Route("/begin", begin),
            Route("/day", day),
            Route("/day-photo/{name}", shown),
            Route("/again", again),
            Route("/api/shelf/{name}", shelf_answer, methods=["GET", "POST"]),
            Route("/book.html", book),
            Route("/practise", practise),
            Route("/api/{name}", answer, methods=["GET", "POST"]),
            Route("/api/begin/{name}", begin_answer, methods=["GET", "POST"]),
            Route("/api/practise/{name}", practise_answer, methods=["GET", "POST"]),
            Route("/practise/shown.png", practise_picture),
            Route("/upload/{name}", upload, methods=["POST"]),
            Route("/begin/{name}", begin_picture),
            Route("/texture/{name}", texture),
            Route("/frame.jpg", frame),
            Route("/first.jpg", first),
            Route("/files/{name:path}", file),
        ],
        exception_handlers={404: lambda request, error: nothing(), 405: lambda request, error: nothing(405)},
    )


def _answered(desk: Desk, request: Request, body: dict[str, Any] | None) -> Response:
    with LOADING:
        from layerpreview.desk import asked

    name, known = request.path_params["name"], (asked.GET, asked.POST)
    if name not in asked.GET and name not in asked.POST:  # the page's first questions do not wait for the rest
        with LOADING:
            from layerpreview.desk import beside, day

        known = {**beside.GET, **day.GET}, {**beside.POST, **day.POST}
    return answered(desk, known, name, request, body)


def _answered_begin(desk: Desk, request: Request, body: dict[str, Any] | None) -> Response:
    with LOADING:
        from layerpreview.desk import asked_begin

    return answered(desk, (asked_begin.GET, asked_begin.POST), request.path_params["name"], request, body)


def _answered_shelf(desk: Desk, request: Request, body: dict[str, Any] | None) -> Response:
    with LOADING:
        from layerpreview.desk import asked_shelf

    return answered(desk, (asked_shelf.GET, asked_shelf.POST), request.path_params["name"], request, body)


def _book(desk: Desk) -> Response:
    """The book of this folder's jobs: it works by itself, as a board does."""
    with LOADING:
        from layerpreview.desk.asked_shelf import shown_book

    found = shown_book(desk)
    policy = {"content-security-policy": ALONE}
    return nothing() if found is None else FileResponse(found, media_type="text/html", headers=policy)


def _answered_practise(desk: Desk, request: Request, body: dict[str, Any] | None) -> Response:
    with LOADING:
        from layerpreview.desk import asked_practise

    return answered(desk, (asked_practise.GET, asked_practise.POST), request.path_params["name"], request, body)


def _practise_picture(desk: Desk, request: Request) -> Response:
    with LOADING:
        from layerpreview.desk import asked_practise

    return picture_answer(desk, lambda: asked_practise.picture_asked(request.query_params), keep_s=600, kind="png")


def _upload(desk: Desk, request: Request, data: bytes) -> Response:
    with LOADING:
        from layerpreview.desk import asked_begin

    what = request.path_params["name"]
    if what not in UPLOADS:
        return nothing()
    if what == "day-photo":
        return day_photo(desk, data, request.query_params, "desk")
    try:
        status, told = asked_begin.take_upload(desk, what, request.query_params, data)
    except LayerPreviewError as error:
        return refused(desk, error)
    return JSONResponse(told, status)


def _begin_picture(desk: Desk, request: Request) -> Response:
    with LOADING:
        from layerpreview.desk import asked_begin

    name = request.path_params["name"]
    return picture_answer(desk, lambda: asked_begin.picture_asked(desk, name, request.query_params), keep_s=600)


def _frame(desk: Desk, words: Mapping[str, str]) -> Response:
    with LOADING:
        from layerpreview.desk import asked

    return picture_answer(desk, lambda: asked.frame_asked(desk, words))


def _texture(name: str) -> bytes | None:
    with LOADING:
        from layerpreview.desk.picture import textures

    return textures.get(name)


def _file(desk: Desk, name: str) -> Response:
    """A file of the job's own folder, found by its whole name there; never one that a name or link leads out to."""
    with LOADING:
        from layerpreview.desk.give import SHOWN

    found = None if desk.path is None else confined(desk.path.parent, name)
    if found is None or any(part.startswith(".") for part in Path(name).parts):
        return nothing()
    kind = SHOWN.get(found.suffix.lower())
    if kind is not None:
        policy = {"text/html": ALONE, "application/pdf": IN_NO_FRAME}.get(kind)
        return FileResponse(found, media_type=kind, headers={"content-security-policy": policy} if policy else None)
    return FileResponse(found, media_type="application/octet-stream", filename=found.name)
