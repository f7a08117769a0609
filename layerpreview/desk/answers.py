"""How the desk and the phone's door answer: JSON, one plain line for each problem, and the files of their pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from layerpreview.desk.desk import Desk, OtherJobError
from layerpreview.desk.loading import LOADING
from layerpreview.errors import InputError, LayerPreviewError
from layerpreview.held import usable_json

IMMUTABLE = {"cache-control": "private, max-age=31536000, immutable"}
TYPES = {".css": "text/css", ".js": "text/javascript", ".html": "text/html", ".svg": "image/svg+xml"}
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
Get = Callable[[Desk, Mapping[str, str]], tuple[int, Any]]
Post = Callable[[Desk, Mapping[str, str], Mapping[str, Any]], tuple[int, Any]]


async def body_of(request: Request) -> dict[str, Any] | None:
    """The JSON object that was sent, {} where nothing was to be; None for anything else."""
    if request.method != "POST":
        return {}
    try:
        body = usable_json(await request.body())
    except ValueError:
        return None
    return body if isinstance(body, dict) else None


def static_files() -> Mapping[str, Callable[[], Response]]:
    """The page's own files by name, each with a function that answers with it: a fixed list, made at the start."""
    data = resources.files("layerpreview") / "data"
    found: dict[str, Callable[[], Response]] = {}
    for folder in (data / "desk", data / "live"):
        for entry in folder.iterdir() if folder.is_dir() else ():
            kind = TYPES.get(Path(entry.name).suffix)
            if kind is not None and entry.is_file():
                content = entry.read_bytes()
                found[entry.name] = partial(Response, content, media_type=kind)
    return found


def answered(
    desk: Desk,
    known: tuple[Mapping[str, Get], Mapping[str, Post]],
    name: str,
    request: Request,
    body: Mapping[str, Any] | None,
) -> Response:
    """The answer of the function `known` by this name (for GET, for POST); what the house refuses is told by line."""
    if body is None:
        return problems(400, ["this is not what the desk understands"])
    get, post = known
    try:
        if request.method == "POST" and name in post:
            status, told = post[name](desk, request.query_params, body)
        elif request.method != "POST" and name in get:
            status, told = get[name](desk, request.query_params)
        else:
            return nothing()
    except LayerPreviewError as error:
        return refused(desk, error)
    if isinstance(told, bytes):
        return Response(told, status, media_type="application/json")
    return JSONResponse(told, status)


def picture_answer(desk: Desk, make: Callable[[], bytes | None], *, keep_s: int = 0, kind: str = "jpeg") -> Response:
    """A picture, a JPEG where no other `kind` is named, which a browser may keep for `keep_s` seconds."""
    try:
        found = make()
    except LayerPreviewError as error:
        return refused(desk, error)
    headers = {"cache-control": f"private, max-age={keep_s}"} if keep_s else {}
    return nothing() if found is None else Response(found, media_type=f"image/{kind}", headers=headers)


def refused(desk: Desk, error: LayerPreviewError) -> Response:
    if isinstance(error, OtherJobError):
        return JSONResponse({"problems": [str(one) for one in error.problems], "other": error.job}, 409)
    with LOADING:
        from layerpreview.desk.page_words import page_words

    folder = Path() if desk.path is None else desk.path.parent
    lines = [str(one) for one in error.problems] if isinstance(error, InputError) else str(error).splitlines()
    return problems(422, [page_words(line, folder) for line in lines])


def nothing(status: int = 404) -> Response:
    return problems(status, ["there is nothing of this name"])


def problems(status: int, lines: list[str]) -> Response:
    return JSONResponse({"problems": lines}, status)
