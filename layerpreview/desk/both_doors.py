"""Pages that the desk and the shop's phone share: the day, touch-up, learning the eye, and the shop book to look at."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from layerpreview.desk.answers import ALONE, answered, body_of, nothing, picture_answer, refused
from layerpreview.desk.desk import Desk
from layerpreview.desk.loading import LOADING
from layerpreview.errors import LayerPreviewError

Static = Mapping[str, Callable[[], Response]]
Endpoint = Callable[[Request], Awaitable[Response]]
IN_ONE_LIGHT = "in-one-light.jpg"
PAGES = ("day.html", "touch_up.html", "practise.html")


def routes_of_both(desk: Desk, static: Static, *, beginning: str | None = None) -> list[Route]:
    """Their addresses; `beginning`: the page that stands for one of a job while none is open."""

    def page(name: str, *, of_job: bool = True) -> Endpoint:
        async def answer(request: Request) -> Response:
            return static[beginning if beginning and of_job and desk.path is None else name]()

        return answer

    def threaded(make: Callable[[Desk, Request], Response]) -> Endpoint:
        async def answer(request: Request) -> Response:
            return await run_in_threadpool(make, desk, request)

        return answer

    async def practise_answer(request: Request) -> Response:
        with LOADING:
            from layerpreview.desk import asked_practise

        name, body = request.path_params["name"], await body_of(request)
        known = asked_practise.GET, asked_practise.POST
        return await run_in_threadpool(answered, desk, known, name, request, body)

    return [
        Route("/day", page("day.html")),
        Route("/day-photo/{name}", threaded(_photo)),
        Route("/touch-up", page("touch_up.html")),
        Route("/touch-up/{name}", threaded(_repair)),
        Route("/face.jpg", threaded(_face)),
        Route("/practise", page("practise.html", of_job=False)),
        Route("/practise/shown.png", threaded(_practise_picture)),
        Route("/api/practise/{name}", practise_answer, methods=["GET", "POST"]),
        Route("/book.html", threaded(_book)),
    ]


def day_photo(desk: Desk, data: bytes, words: Mapping[str, str], source: str) -> Response:
    """Keep a photo for the diary."""
    with LOADING:
        from layerpreview.desk.day import keep_photo

    try:
        status, told = keep_photo(desk, data, words, source=source)
    except LayerPreviewError as error:
        return refused(desk, error)
    return JSONResponse(told, status)


def _photo(desk: Desk, request: Request) -> Response:
    """A photo of the job or all of them in one light, and no other file."""
    name = request.path_params["name"]
    if name == IN_ONE_LIGHT and desk.path is not None:
        with LOADING:
            from layerpreview.desk.day import in_one_light

        return picture_answer(desk, lambda: in_one_light(desk))
    with LOADING:
        from layerpreview.desk.photos import shown_photo

    place = None if desk.path is None else shown_photo(desk.job().folder, name)
    return nothing() if place is None else FileResponse(place)


def _face(desk: Desk, request: Request) -> Response:
    """A face of the job, flat."""
    with LOADING:
        from layerpreview.desk.mend import face_picture

    return picture_answer(desk, lambda: face_picture(desk, request.query_params), keep_s=600)


def _repair(desk: Desk, request: Request) -> Response:
    """A picture of the job's last touch-up, and no other file."""
    with LOADING:
        from layerpreview.desk.mend import picture_file

    found = picture_file(desk, request.path_params["name"])
    return nothing() if found is None else FileResponse(found, media_type="image/png")


def _practise_picture(desk: Desk, request: Request) -> Response:
    with LOADING:
        from layerpreview.desk import asked_practise

    return picture_answer(desk, lambda: asked_practise.picture_asked(request.query_params), keep_s=600, kind="png")


def _book(desk: Desk, request: Request) -> Response:
    """The book of this folder's jobs: it works by itself, as a board does."""
    with LOADING:
        from layerpreview.desk.asked_shelf import shown_book

    found = shown_book(desk)
    policy = {"content-security-policy": ALONE}
    return nothing() if found is None else FileResponse(found, media_type="text/html", headers=policy)
