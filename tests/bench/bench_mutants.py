"""How many small faults in the code the tests of its own room catch: prints figures and survivors, judges nothing.

    python tests/bench/bench_mutants.py --rooms film,spray --sample 40 --seed 1
    python tests/bench/bench_mutants.py --rooms answers --only progress.py,advice.py --sample 30 --minutes 20

One fault at a time is written into a copy of package and tests in a temporary folder (the checkout is never touched);
the room's tests run there until one fails, those named like the module first. A mutant that only the tests of another
room would catch counts as survived: a room's tests should hold it by themselves.

It forks, so it runs on Linux and macOS alone. Why not a ready tool: mutmut 3 changes nothing outside functions (here
constants and tables carry the trade's figures) and cosmic-ray writes each fault into the checkout.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import math
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = {  # room -> where its tests lie
    "film": ["tests/film"],
    "spray": ["tests/spray"],
    "colour": ["tests/colour"],
    "finish": ["tests/finish"],
    "answers": ["tests/answers", "tests/workflows/test_learnt_doubt.py"],
    "learn": ["tests/learn"],
}
FOLDERS, FILES = ("layerpreview", "tests", "samples", "docs"), ("pyproject.toml", "README.md")
LOADED = ("pytest", "hypothesis", "numpy", "scipy.optimize", "scipy.ndimage", "scipy.stats", "skimage.measure")
LOADED += ("colour", "PIL.Image", "pydantic", "shapely", "tomlkit", "typer", "jinja2")
SWAPPED = dict(
    pair
    for one, other in (
        *((ast.Lt, ast.GtE), (ast.LtE, ast.Gt), (ast.Eq, ast.NotEq), (ast.In, ast.NotIn), (ast.Is, ast.IsNot)),
        *((ast.Add, ast.Sub), (ast.Mult, ast.Div), (ast.And, ast.Or), (ast.BitAnd, ast.BitOr)),
    )
    for pair in ((one, other), (other, one))
) | {ast.Pow: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult}
EDGE = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
"""Tried only against whole numbers: between measured figures the very edge has no weight."""
GUARD = 2e-6
"""Below it a number only keeps rounding or a division by zero out: a quarter more or less changes nothing at all."""
PAIRS = "min max|minimum maximum|floor ceil|any all|argmin argmax|low high|cos sin|exp log"
NOT_COMPUTED = ("annotation", "returns", "decorator_list")
RENAMED = {one: other for pair in PAIRS.split("|") for one, other in (pair.split(), pair.split()[::-1])}


def variants(node: ast.AST) -> Iterator[ast.AST]:
    """Every other way to write one node: the same kind of node, one thing changed."""
    match node:
        case ast.Constant(value=bool()):
            yield ast.Constant(not node.value)
        case ast.Constant(value=int()):
            yield from (ast.Constant(node.value + 1), ast.Constant(node.value - 1))
        case ast.Constant(value=float()) if not 0.0 < node.value < GUARD:
            yield from map(ast.Constant, (node.value * 1.25, node.value / 1.25) if node.value else (1.0,))
        case ast.Compare(ops=[op, *more], comparators=[first, *_]):
            yield _with(node, ops=[SWAPPED[type(op)](), *more])
            whole = [x for x in (node.left, first) if isinstance(x, ast.Constant) and isinstance(x.value, int)]
            if whole and type(op) in EDGE:
                yield _with(node, ops=[EDGE[type(op)](), *more])
        case ast.BinOp() | ast.AugAssign() | ast.BoolOp() if type(node.op) in SWAPPED:
            yield _with(node, op=SWAPPED[type(node.op)]())
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert()):
            yield node.operand
        case ast.IfExp():
            yield _with(node, body=node.orelse, orelse=node.body)
        case ast.Name(id=name) if name in RENAMED and isinstance(node.ctx, ast.Load):
            yield _with(node, id=RENAMED[name])
        case ast.Attribute(attr=name) if name in RENAMED and isinstance(node.ctx, ast.Load):
            yield _with(node, attr=RENAMED[name])
        case ast.If(body=[ast.Return() | ast.Continue()], orelse=[]):
            yield ast.Pass()


def _with(node: ast.AST, **changed: object) -> ast.AST:
    other = copy.copy(node)
    for name, value in changed.items():
        setattr(other, name, value)
    return other


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """Line, what is changed in words, and the whole module with the change, for every possible one."""
    tree = ast.parse(source)
    for parent in _computing(tree):
        for name, held in ast.iter_fields(parent):
            nodes = held if isinstance(held, list) else [held]
            for i, node in enumerate(nodes if name not in NOT_COMPUTED else ()):
                for other in variants(node) if isinstance(node, ast.AST) else ():
                    setattr(parent, name, [*nodes[:i], other, *nodes[i + 1 :]] if isinstance(held, list) else other)
                    words = [ast.unparse(part).splitlines()[0] for part in (node, other)]
                    yield node.lineno, " -> ".join(words), ast.unparse(ast.fix_missing_locations(tree))
                setattr(parent, name, held)


def _computing(node: ast.AST) -> list[ast.AST]:
    """The node and all below it that have a part in a result: not how things are declared, asserted or refused."""
    if isinstance(node, ast.Assert | ast.Raise):
        return []
    held = [value for name, value in ast.iter_fields(node) if name not in NOT_COMPUTED]
    below = [child for value in held for child in (value if isinstance(value, list) else [value])]
    return [node, *(inner for child in below if isinstance(child, ast.AST) for inner in _computing(child))]


def passes(folder: Path, tests: list[str], stem: str, limit_s: float) -> bool:
    """Whether the tests pass in `folder`, the quick ones and those of module `stem` first; a hang is a failure."""
    files = [str(f.relative_to(folder)) for t in tests for f in sorted((folder / t).rglob("test_*.py")) or [folder / t]]
    files.sort(key=lambda file: stem.split("_")[0] not in Path(file).name)
    options = ["-x", "-q", "--tb=no", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]
    runs = (_run(folder, [*options, "-m", which, *files], limit_s) for which in ("not slow", "slow"))
    return all(code in (0, 5) for code in runs)  # 5: none of this kind


def _run(folder: Path, arguments: list[str], limit_s: float) -> int:
    """Pytest in a copy of this process, which has all but the package loaded: seconds less for each mutant."""
    child = os.fork()
    if child == 0:
        signal.alarm(math.ceil(limit_s))
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os.chdir(folder)
        sys.path.insert(0, str(folder))
        os.environ["PYTHONPATH"] = str(folder)
        code = 3
        try:
            code = int(importlib.import_module("pytest").main(arguments))
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def try_room(room: str, folder: Path, *, sample: int, seed: int, only: list[str], until_s: float) -> str:
    """Try a sample of a room's mutants, print the survivors, and say how many were killed."""
    files = [f for f in sorted((folder / "layerpreview" / room).rglob("*.py")) if not only or f.name in only]
    texts = {file: file.read_text("utf-8") for file in files}
    every = [(file, *mutant) for file in files for mutant in mutants(texts[file])]
    chosen = random.Random(seed).sample(every, min(sample, len(every)))
    began = time.monotonic()
    sys.dont_write_bytecode = False  # only now, so that no mutant leaves a trace
    if not passes(folder, TESTS[room], "", 1e4):
        return f"{room}: its tests fail as they are"
    sys.dont_write_bytecode = True
    limit_s = 20.0 + 4.0 * (time.monotonic() - began)
    killed = tried = 0
    for file, line, words, text in chosen:
        if time.monotonic() > until_s:
            break
        kept = file.stat()
        file.write_text(text, "utf-8")
        lives = passes(folder, TESTS[room], file.stem, limit_s)
        file.write_text(texts[file], "utf-8")
        os.utime(file, ns=(kept.st_atime_ns, kept.st_mtime_ns))
        tried, killed = tried + 1, killed + (not lives)
        if lives:
            print(f"  survived {file.relative_to(folder)}:{line}  {words}", flush=True)
    share = 100 * killed / max(tried, 1)
    return f"{room}: {killed} of {tried} killed ({share:.0f} %), of {len(every)} there are"


def main() -> None:
    ask = argparse.ArgumentParser(description="Mutation test of a room by the room's own tests.")
    ask.add_argument("--rooms", default=",".join(TESTS), help="rooms, comma between")
    ask.add_argument("--sample", type=int, default=60, help="mutants of each room")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--only", default="", help="modules of these rooms, such as progress.py, comma between")
    ask.add_argument("--minutes", type=float, default=1e6, help="stop trying new mutants of a room after this long")
    chosen = ask.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for name in FOLDERS:
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in FILES:
            shutil.copy2(ROOT / name, folder / name)
        os.environ["OPENBLAS_NUM_THREADS"] = "1"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for name in LOADED:
                importlib.import_module(name)
        for room in chosen.rooms.split(","):
            until_s = time.monotonic() + 60 * chosen.minutes
            only = [name for name in chosen.only.split(",") if name]
            print(
                try_room(room, folder, sample=chosen.sample, seed=chosen.seed, only=only, until_s=until_s), flush=True
            )


if __name__ == "__main__":
    main()
