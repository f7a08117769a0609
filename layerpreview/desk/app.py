"""The desk's addresses: its page and what belongs to it, and below /api/ what the page asks for (`asked`).

Whatever takes time runs in threads. Heavy imports wait until something is asked for: the page is there at once.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import partial
from importlib import resources
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from layerpreview.desk.desk import Desk
from layerpreview.desk.guard import confined
from layerpreview.errors import LayerPreviewError

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
IN_NO_FRAME = "frame-ancestors 'none'"
"""A browser's own viewer of PDF has scripts and styles that no policy of ours knows of."""


def make_app(desk: Desk) -> Starlette:
    """The app of one desk, not guarded yet."""
    static = _static()

    async def page(request: Request) -> Response:
        return static["desk.html"]()

    async def part(request: Request) -> Response:
        found = static.get(request.path_params["name"])
        return found() if found and request.path_params["name"] != "desk.html" else _nothing()

    async def answer(request: Request) -> Response:
        body: Any = {}
        if request.method == "POST":
            try:
                body = json.loads(await request.body(), parse_constant=_no_number)
            except (ValueError, RecursionError):
                body = None
            if not isinstance(body, dict):
                return _problems(400, ["this is not what the desk understands"])
        return await run_in_threadpool(
            _answered, desk, request.path_params["name"], request.query_params, body, request.method
        )

    async def texture(request: Request) -> Response:
        data = await run_in_threadpool(_texture, request.path_params["name"])
        if data is None:
            return _problems(404, ["this picture is no longer kept; ask for it again"])
        return Response(data, media_type="application/octet-stream", headers=IMMUTABLE)

    async def frame(request: Request) -> Response:
        return await run_in_threadpool(_frame, desk, request.query_params)

    async def file(request: Request) -> Response:
        return await run_in_threadpool(_file, desk, request.path_params["name"])

    return Starlette(
        routes=[
            Route("/", page),
            Route("/static/{name}", part),
            Route("/api/{name}", answer, methods=["GET", "POST"]),
            Route("/texture/{name}", texture),
            Route("/frame.jpg", frame),
            Route("/files/{name:path}", file),
        ],
        exception_handlers={404: lambda request, error: _nothing(), 405: lambda request, error: _nothing(405)},
    )


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


def _static() -> Mapping[str, Callable[[], Response]]:
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


def _answered(desk: Desk, name: str, words: Mapping[str, str], body: Mapping[str, Any], method: str) -> Response:
    """The answer of one function of `asked` or `beside`; what the house refuses is told line by line."""
    from layerpreview.desk import asked, beside

    get, post = asked.GET | beside.GET, asked.POST | beside.POST
    try:
        if method == "POST" and name in post:
            status, told = post[name](desk, words, body)
        elif method != "POST" and name in get:
            status, told = get[name](desk, words)
        else:
            return _nothing()
    except LayerPreviewError as error:
        return _refused(desk, error)
    if isinstance(told, bytes):
        return Response(told, status, media_type="application/json")
    return JSONResponse(told, status)


def _frame(desk: Desk, words: Mapping[str, str]) -> Response:
    from layerpreview.desk import asked

    try:
        return Response(asked.frame_asked(desk, words), media_type="image/jpeg")
    except LayerPreviewError as error:
        return _refused(desk, error)


def _texture(name: str) -> bytes | None:
    from layerpreview.desk.picture import textures

    return textures.get(name)


def _file(desk: Desk, name: str) -> Response:
    """A file of the job's own folder, found by its whole name there; never one that a name or link leads out to."""
    from layerpreview.desk.give import SHOWN

    found = None if desk.path is None else confined(desk.path.parent, name)
    if found is None or any(part.startswith(".") for part in Path(name).parts):
        return _nothing()
    kind = SHOWN.get(found.suffix.lower())
    if kind is not None:
        policy = {"text/html": ALONE, "application/pdf": IN_NO_FRAME}.get(kind)
        return FileResponse(found, media_type=kind, headers={"content-security-policy": policy} if policy else None)
    return FileResponse(found, media_type="application/octet-stream", filename=found.name)


def _refused(desk: Desk, error: LayerPreviewError) -> Response:
    from layerpreview.desk.tell import plain_paths

    folder = Path() if desk.path is None else desk.path.parent
    return _problems(422, [plain_paths(line, folder) for line in str(error).splitlines()])


def _nothing(status: int = 404) -> Response:
    return _problems(status, ["there is nothing of this name"])


def _problems(status: int, lines: list[str]) -> Response:
    return JSONResponse({"problems": lines}, status)
