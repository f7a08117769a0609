"""What a phone may ask for, and nothing else: its pages, the picture, the job's state, coats and strengths, the diary,
photos, a touch-up, whether a printed sheet is of today.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from layerpreview.desk.answers import IMMUTABLE, answered, body_of, nothing, picture_answer, refused, static_files
from layerpreview.desk.both_doors import PAGES, day_photo, routes_of_both
from layerpreview.desk.desk import Desk
from layerpreview.desk.loading import LOADING
from layerpreview.errors import InputError, LayerPreviewError, Problem
from layerpreview.scheme.fields import FILM_WORDS_UM
from layerpreview.workflows.places import PHOTOS

Answer = tuple[int, Any]
_NAMED = re.compile(rb"""(?:/static/|from "\./|import "\./)([\w.]+\.(?:js|css))\"""")
TOLD = (
    *("version", "opening", "job", "problems", "undo", "name", "units", "lights", "light_words", "surroundings"),
    *("clear", "coats", "mixes", "shown", "files"),
)
"""What of the state a phone is told."""
LONGEST_AMOUNT = 60
MOST_AT_ONCE = 20


def phone_app(desk: Desk) -> Starlette:
    """The app behind the phone's door, not guarded yet."""
    static = static_files()
    parts = frozenset().union(*(parts_of(page, static) for page in ("phone.html", *PAGES)))

    async def page(request: Request) -> Response:
        return static["phone.html"]()

    async def part(request: Request) -> Response:
        name = request.path_params["name"]
        return static[name]() if name in parts else nothing()

    async def answer(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(_answered, desk, request, body)

    async def texture(request: Request) -> Response:
        with LOADING:
            from layerpreview.desk.picture import textures

        data = textures.get(request.path_params["name"])
        return nothing() if data is None else Response(data, media_type="application/octet-stream", headers=IMMUTABLE)

    async def frame(request: Request) -> Response:
        with LOADING:
            from layerpreview.desk.asked import frame_asked

        words = _without_versions(request.query_params)
        return await run_in_threadpool(picture_answer, desk, lambda: frame_asked(desk, words))

    async def photo(request: Request) -> Response:
        data = await request.body()
        return await run_in_threadpool(_photo, desk, data, request.query_params)

    async def photo_of_the_day(request: Request) -> Response:
        data = await request.body()
        return await run_in_threadpool(day_photo, desk, data, request.query_params, "phone")

    return Starlette(
        routes=[
            Route("/", page),
            Route("/static/{name}", part),
            Route("/api/{name}", answer, methods=["GET", "POST"]),
            Route("/texture/{name}", texture),
            Route("/frame.jpg", frame),
            Route("/upload/photo", photo, methods=["POST"]),
            Route("/upload/day-photo", photo_of_the_day, methods=["POST"]),
            *routes_of_both(desk, static),
        ],
        exception_handlers={404: lambda request, error: nothing(), 405: lambda request, error: nothing(405)},
    )


def parts_of(page: str, static: Mapping[str, Callable[[], Response]]) -> frozenset[str]:
    """The files that a page is made of: those it names, those that they name, and so on."""
    found: set[str] = set()
    waiting = [page]
    while waiting:
        named = {name.decode() for name in _NAMED.findall(bytes(static[waiting.pop()]().body))}
        new = {name for name in named if name in static} - found
        found |= new
        waiting += new
    return frozenset(found)


def _answered(desk: Desk, request: Request, body: dict[str, Any] | None) -> Response:
    name, known = request.path_params["name"], (GET, POST)
    if name not in GET and name not in POST:  # diary and touch-up are loaded once they are asked for
        with LOADING:
            from layerpreview.desk import day, mend

        known = {**day.GET, **mend.PHONE_GET}, {**day.POST, **mend.PHONE_POST}
    return answered(desk, known, name, request, body)


def _state(desk: Desk, words: Mapping[str, str]) -> Answer:
    with LOADING:
        from layerpreview.desk.asked import get_state

    return 200, _told(get_state(desk, words)[1])


def _pulse(desk: Desk, words: Mapping[str, str]) -> Answer:
    with LOADING:
        from layerpreview.desk.asked import get_pulse

    return get_pulse(desk, words)


def _picture(desk: Desk, words: Mapping[str, str]) -> Answer:
    with LOADING:
        from layerpreview.desk.asked import get_picture

    return get_picture(desk, _without_versions(words))


def _edit(desk: Desk, words: Mapping[str, str], body: Mapping[str, Any]) -> Answer:
    with LOADING:
        from layerpreview.desk.asked import post_edit

    changes = body.get("changes")
    changes = changes if isinstance(changes, list) else []
    if not 0 < len(changes) <= MOST_AT_ONCE or not all(map(_may_change, changes)):
        raise InputError(Problem("a phone changes coats, their film and strengths alone", "change this at the desk"))
    status, told = post_edit(desk, words, {**body, "force": False})
    return status, {**told, "state": _told(told["state"])} if status == 409 else _told(told)


def _sheet(desk: Desk, words: Mapping[str, str], body: Mapping[str, Any]) -> Answer:
    with LOADING:
        from layerpreview.desk.sheet_code import post_sheet

    return post_sheet(desk, words, body)


GET: dict[str, Callable[[Desk, Mapping[str, str]], Answer]] = {"state": _state, "pulse": _pulse, "picture": _picture}
POST: dict[str, Callable[[Desk, Mapping[str, str], Mapping[str, Any]], Answer]] = {
    "edit": _edit,
    "sheet": _sheet,
}


def _told(state: Mapping[str, Any]) -> dict[str, Any]:
    told = {name: state[name] for name in (*TOLD, "begin") if name in state}
    dyes = [{"name": dye["name"], "swatch": dye["swatch"]} for dye in state.get("dyes", ())]
    return {**told, "dyes": dyes}


def _without_versions(words: Mapping[str, str]) -> dict[str, str]:
    """What is asked, but for other versions of the job than the one of now."""
    return {name: value for name, value in words.items() if name != "of"}


def _may_change(change: object) -> bool:
    """Whether a change is one that a phone makes: the number of coats, a film word, how strong a dye is, how wide."""
    if not isinstance(change, dict) or change.get("do") != "set" or not isinstance(change.get("at"), list):
        return False
    to: object = change.get("to")
    is_text = isinstance(to, str) and 0 < len(to) <= LONGEST_AMOUNT
    match change["at"]:
        case ["coat", int(), "coats"]:
            return isinstance(to, int) and not isinstance(to, bool)
        case ["coat", int(), "film"]:
            return is_text and to in FILM_WORDS_UM
        case ["mix", str(), "dyes", str()]:
            return is_text
        case ["coat", int(), "burst", int(), "width"]:
            return is_text
    return False


def _photo(desk: Desk, data: bytes, words: Mapping[str, str]) -> Response:
    """Keep a photo for the desk, and in the folder of the job that the phone shows, nothing but its pixels."""
    with LOADING:
        from layerpreview.desk.photos import keep_picture

    try:
        upload, picture = desk.uploads.take_photo(data, words.get("name", ""), source="phone")
        kept = None
        if desk.path is not None:
            place = keep_picture(desk.job(words.get("opening")).folder, picture)
            kept = f"{PHOTOS}/{place.name}"
    except LayerPreviewError as error:
        return refused(desk, error)
    return JSONResponse({"name": upload.name, "kept": kept})
