"""Ask another machine's graphics chip for the frames that `record_frames.py` wrote down, and time them. No browser.

    python tests/bench/replay_frames.py FRAMES.zip [REPEATS]

Needs Linux with libEGL.so.1 and libGLESv2.so.2, Python and NumPy, and nothing of this project. For each frame: how far
the picture is from what the page showed (mean and 99.9 % [code values of 255]; drawn by another chip), then the time
from its first call until it stands, the chip's own time (GL_TIME_ELAPSED, where the driver tells it) and the time its
calls take to be made: median and 95 % [ms], frames of one size in turns. A browser's own work
is not in it, and software's "own time" leaves out what it puts off until it has to stand.
"""

from __future__ import annotations

import ctypes
import json
import sys
import time
import zipfile
from collections.abc import Callable
from ctypes import POINTER, byref, c_char_p, c_float, c_int, c_ssize_t, c_uint, c_uint64, c_void_p
from typing import Any

import numpy as np

ROUNDS, WARM_S = 5, 0.5
EGL = ctypes.CDLL("libEGL.so.1")
GLES = ctypes.CDLL("libGLESv2.so.2")
for named in ("eglGetPlatformDisplay", "eglCreateContext", "eglGetProcAddress"):
    getattr(EGL, named).restype = c_void_p
PLATFORM_DEVICE, NONE, CONTEXT_VERSION, OPENGL_ES_API, SURFACE_TYPE, RENDERABLE_TYPE, ES3 = (
    0x313F,
    0x3038,
    0x3098,
    0x30A0,
    0x3033,
    0x3040,
    0x40,
)
FRAMEBUFFER, RENDERBUFFER, COLOUR, RGBA, RGBA8, UNSIGNED_BYTE = 0x8D40, 0x8D41, 0x8CE0, 0x1908, 0x8058, 0x1401
VENDOR, RENDERER, VERSION, EXTENSIONS = 0x1F00, 0x1F01, 0x1F02, 0x1F03
TIME_ELAPSED, QUERY_RESULT, BROWSER_ONLY = 0x88BF, 0x8866, 0x9240
FLOATS = {"uniform1f", "uniform2f", "uniform3f", "uniform4f"}
ALL_FLOATS = {"clearColor": "glClearColor", "depthRange": "glDepthRangef", "clearDepth": "glClearDepthf"}
Prepared = tuple[Callable[..., Any], tuple[Any, ...]]


def displays() -> list[int]:
    """Every chip's display, as the driver lists them."""
    query = ctypes.CFUNCTYPE(c_uint, c_int, POINTER(c_void_p), POINTER(c_int))(
        EGL.eglGetProcAddress(b"eglQueryDevicesEXT")
    )
    devices, count = (c_void_p * 16)(), c_int()
    query(16, devices, byref(count))
    found = [EGL.eglGetPlatformDisplay(PLATFORM_DEVICE, c_void_p(devices[i]), None) for i in range(count.value)]
    return [display for display in found if display and EGL.eglInitialize(c_void_p(display), None, None)]


class Canvas:
    """A context of its own, in which one canvas' calls are made again."""

    def __init__(self, display: int, kept: zipfile.ZipFile, name: str) -> None:
        config, count = c_void_p(), c_int()
        wanted = (c_int * 5)(SURFACE_TYPE, 0, RENDERABLE_TYPE, ES3, NONE)
        EGL.eglBindAPI(OPENGL_ES_API)
        EGL.eglChooseConfig(c_void_p(display), wanted, byref(config), 1, byref(count))
        context = EGL.eglCreateContext(c_void_p(display), config, None, (c_int * 3)(CONTEXT_VERSION, 3, NONE))
        if not context:
            raise SystemExit("this chip has no OpenGL ES 3")
        self.handles = c_void_p(display), None, None, c_void_p(context)
        self.kept, self.name = kept, name
        self.objects: dict[int, int] = {}
        self.arrays: dict[int, Any] = {}
        self.screen = 0
        self.current()

    def current(self) -> None:
        if not EGL.eglMakeCurrent(*self.handles):
            raise SystemExit("this chip draws nothing without a window")

    def array(self, number: int) -> Any:
        if number not in self.arrays:
            self.arrays[number] = ctypes.create_string_buffer(self.kept.read(f"{self.name}/{number}"))
        return self.arrays[number]

    def resize(self, width: int, height: int) -> None:
        """What stands for the page's canvas."""
        frame, buffer = c_uint(), c_uint()
        GLES.glGenFramebuffers(1, byref(frame))
        GLES.glGenRenderbuffers(1, byref(buffer))
        GLES.glBindRenderbuffer(RENDERBUFFER, buffer)
        GLES.glRenderbufferStorage(RENDERBUFFER, RGBA8, width, height)
        GLES.glBindFramebuffer(FRAMEBUFFER, frame)
        GLES.glFramebufferRenderbuffer(FRAMEBUFFER, COLOUR, RENDERBUFFER, buffer)
        self.screen = frame.value

    def does(self, calls: list[Any]) -> None:
        """Make calls once, keeping what they make."""
        for name, args, made in calls:
            if name == "getUniformLocation":
                self.objects[made] = GLES.glGetUniformLocation(self.objects[args[0]["object"]], args[1].encode())
            elif name == "createProgram" or name == "createShader":
                self.objects[made] = getattr(GLES, "gl" + name[0].upper() + name[1:])(*args)
            elif name.startswith("create"):
                number = c_uint()
                getattr(GLES, f"glGen{name[6:]}s")(1, byref(number))
                self.objects[made] = number.value
            elif name.startswith("delete") and name not in ("deleteProgram", "deleteShader"):
                if args[0]:
                    getattr(GLES, f"glDelete{name[6:]}s")(1, byref(c_uint(self.objects[args[0]["object"]])))
            elif name != "pixelStorei" or args[0] < BROWSER_ONLY:
                does, given = self.prepared(name, args)
                does(*given)

    def prepared(self, name: str, args: list[Any]) -> Prepared:
        """A call of WebGL as one of OpenGL ES."""
        does, given = ALL_FLOATS.get(name, "gl" + name[0].upper() + name[1:]), [self.one(value) for value in args]
        if name in ALL_FLOATS:
            given = [c_float(value) for value in args]
        elif name in FLOATS:
            given[1:] = [c_float(value) for value in args[1:]]
        elif name == "shaderSource":
            given[1:] = [c_int(1), byref(c_char_p(args[1].encode())), None]
        elif name == "bufferData":
            given.insert(1, c_ssize_t(args[1]["bytes"]))
        elif name == "drawBuffers":
            given = [c_int(len(args[0])), (c_uint * len(args[0]))(*args[0])]
        elif name == "bindFramebuffer" and args[1] is None:
            given[1] = c_int(self.screen)
        elif name.startswith("uniformMatrix"):
            given.insert(1, c_int(args[2]["length"] // int(name[13]) ** 2))
        elif name.startswith("uniform") and name.endswith("v"):
            given.insert(1, c_int(args[1]["length"] // int(name[7])))
        return getattr(GLES, does), tuple(given)

    def one(self, value: Any) -> Any:
        if isinstance(value, dict):
            return self.array(value["array"]) if "array" in value else c_int(self.objects[value["object"]])
        return value.encode() if isinstance(value, str) else c_void_p() if value is None else value

    def apart(self, frame: dict[str, Any]) -> tuple[float, float]:
        """How far the canvas is from what the page showed: mean and 99.9 % of its pixels' colours."""
        pixels = np.empty((frame["height"], frame["width"], 4), dtype=np.uint8)
        GLES.glBindFramebuffer(FRAMEBUFFER, self.screen)
        GLES.glReadPixels(0, 0, frame["width"], frame["height"], RGBA, UNSIGNED_BYTE, c_void_p(pixels.ctypes.data))
        shown = np.frombuffer(self.array(frame["shown"]).raw[:-1], dtype=np.uint8).reshape(pixels.shape)
        far = np.abs(pixels[..., :3].astype(np.int16) - shown[..., :3])
        return float(far.mean()), float(np.percentile(far, 99.9))


class Frame:
    """A frame ready to be drawn again and again."""

    def __init__(self, canvas: Canvas, told: dict[str, Any], asked: Any) -> None:
        canvas.current()
        canvas.resize(told["width"], told["height"])
        canvas.does(told["before"])
        self.canvas, self.asked = canvas, asked
        self.calls = [canvas.prepared(name, args) for name, args, _ in told["calls"]]
        self.draw()
        self.apart = canvas.apart(told)
        self.size = f"{told['width']} x {told['height']}"
        self.times: list[tuple[float, float, float]] = []
        if error := GLES.glGetError():
            raise SystemExit(f"the driver refused a call: {error:#x}")

    def draw(self) -> None:
        for does, given in self.calls:
            does(*given)

    def repeat(self, count: int) -> None:
        self.canvas.current()
        query, chip = c_uint(), c_uint64()
        GLES.glGenQueries(1, byref(query))
        warm = time.perf_counter() + WARM_S
        while time.perf_counter() < warm:
            self.draw()
            GLES.glFinish()
        for _ in range(count):
            start = time.perf_counter()
            self.draw()
            made = time.perf_counter()
            GLES.glFinish()
            stands = time.perf_counter()
            if self.asked:
                GLES.glBeginQuery(TIME_ELAPSED, query)
                self.draw()
                GLES.glEndQuery(TIME_ELAPSED)
                GLES.glFinish()
                self.asked(query, QUERY_RESULT, byref(chip))
            self.times.append((1e3 * (stands - start), chip.value / 1e6, 1e3 * (made - start)))
        GLES.glDeleteQueries(1, byref(query))


def main() -> None:
    kept, repeats = zipfile.ZipFile(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 200
    told = json.loads(kept.read("calls.json"))
    display = displays()[0]
    canvases = {name: Canvas(display, kept, name) for name in told}
    GLES.glGetString.restype = c_char_p
    print(*[GLES.glGetString(what).decode() for what in (VENDOR, RENDERER, VERSION)], sep=", ")
    asked = None
    if b"GL_EXT_disjoint_timer_query" in GLES.glGetString(EXTENSIONS):
        asked = ctypes.CFUNCTYPE(None, c_uint, c_uint, POINTER(c_uint64))(
            EGL.eglGetProcAddress(b"glGetQueryObjectui64vEXT")
        )
    for name, canvas in canvases.items():
        canvas.current()
        canvas.resize(*[next(iter(told[name]["frames"].values()))[side] for side in ("width", "height")])
        canvas.does(told[name]["load"])
    frames = {frame: (canvases[name], calls) for name, one in told.items() for frame, calls in one["frames"].items()}
    for size in dict.fromkeys(frame.split(" ", 1)[1] for frame in frames):
        report({name: Frame(*of, asked) for name, of in frames.items() if name.split(" ", 1)[1] == size}, repeats)


def report(frames: dict[str, Frame], repeats: int) -> None:
    for _ in range(ROUNDS):
        for frame in frames.values():
            frame.repeat(-(-repeats // ROUNDS))
    for name, frame in frames.items():
        median, high = (np.percentile(frame.times, share, axis=0) for share in (50, 95))
        print(f"{name} ({frame.size}): {frame.apart[0]:.3f} and {frame.apart[1]:.0f} apart; ", end="")
        words = ("until it stands", "the chip's own", "calls made")
        print(*[f"{what} {m:.3f}, {h:.3f} ms" for what, m, h in zip(words, median, high, strict=True)], sep="; ")


if __name__ == "__main__":
    main()
