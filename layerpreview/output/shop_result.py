"""What jobs taught of a shop, in words and as JSON; and the text of the file that keeps it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from layerpreview.answers.shop_taught import Lesson, Taught
from layerpreview.output.files import write_text
from layerpreview.output.plain_json import text_table
from layerpreview.output.result import Paths, Result
from layerpreview.scheme.report import table_told
from layerpreview.scheme.shop_values import KINDS, SHOP_FORMAT, SHOP_NAME, UNKNOWN_GUN, JobMean, OwnValue, ShopValues
from layerpreview.scheme.source import toml_string
from layerpreview.units import Range

_GROUPS = {"film": ("reading", "coat"), "transfer": ("batch", "batch"), "drops_per_mL": ("count", "count")}

_HEAD = (
    "This shop's own values, measured on its jobs. Schemes beside this file, and those one folder below it, are",
    "read with them wherever they state nothing themselves. Low, likely and high; n readings.",
)


def shop_result(found: Taught) -> Result[Taught]:
    """What was taught with its ways out; its file is the shop's own values."""
    count = sum(lesson.changed for lesson in found.lessons)

    def write(paths: Paths) -> None:
        write_text(paths[SHOP_NAME], shop_text(found.values))

    return Result(
        found=found,
        line=f"This shop's own values, {count} new",
        document=lambda _: {
            "file": str(found.values.file),
            "written": found.kept,
            "values": [_row(lesson) for lesson in found.lessons],
            "jobs": [job.name for job in found.values.jobs],
            "notes": found.notes,
        },
        rows=lambda: [_row(lesson) for lesson in found.lessons],
        text=lambda: shop_words(found),
        names=(SHOP_NAME,),
        write=write,
        lasting=(SHOP_NAME,),
    )


def _row(lesson: Lesson) -> Mapping[str, object]:
    ends = {"low": lesson.now.range.low, "likely": lesson.now.range.likely, "high": lesson.now.range.high}
    before = {f"before_{end}": getattr(lesson.before, end) for end in ("low", "likely", "high")}
    return {
        "what": lesson.kind,
        "of": lesson.name,
        **ends,
        "n": lesson.now.n,
        "jobs": lesson.now.jobs,
        **before,
        "before_is_own": lesson.owned,
        "changed": lesson.changed,
    }


def shop_words(found: Taught) -> str:
    """What to show a person: each value as it was and as it is now, and what it rests on."""
    if not found.lessons:
        nothing = "nothing is learnt yet: the jobs' diaries hold no film reading, no left-over of a batch, no drops"
        return "\n".join([nothing, *(f"  note: {note}" for note in found.notes), ""])
    rows = [["", "this shop's own", "rests on", "in place of"]]
    rows += [[_what(one), _shown(one.kind, one.now.range), _grounds(one), _before(one)] for one in found.lessons]
    names = [job.name for job in found.values.jobs]
    lines = [*text_table(rows), "", f"taught by {' and '.join(_and(names))}; ranges hold 9 jobs of 10 (approximate)"]
    return "\n".join([*lines, *(f"  note: {note}" for note in found.notes), ""])


def _and(names: list[str]) -> list[str]:
    return names if len(names) < 3 else [", ".join(names[:-1]), names[-1]]


def _what(lesson: Lesson) -> str:
    if lesson.kind == "film":
        return f"{lesson.name} film"
    if lesson.kind == "transfer":
        gun = "gun of a kind not stated" if lesson.name == UNKNOWN_GUN else f"{lesson.name} gun"
        return f"{gun}: lands"
    return f"{lesson.name}: drops in 1 mL"


def _shown(kind: str, value: Range) -> str:
    if kind == "transfer":
        value = value.scaled(100.0)
    unit = {"film": " um", "transfer": " %"}.get(kind, "")
    return f"{value.likely:.3g}{unit} ({value.low:.3g} to {value.high:.3g})"


def _grounds(lesson: Lesson) -> str:
    one, group = _GROUPS[lesson.kind]
    parts = [_count(lesson.now.n, one)]
    if one != group:
        parts.append(f"on {_count(lesson.groups, group)}")
    return " ".join([*parts, f"of {_count(lesson.now.jobs, 'job')}"])


def _count(count: int, word: str) -> str:
    many = "batches" if word == "batch" else f"{word}s"
    return f"{count} {word if count == 1 else many}"


def _before(lesson: Lesson) -> str:
    if not lesson.changed:
        return "as it was"
    return f"{_shown(lesson.kind, lesson.before)}, {'its own' if lesson.owned else 'usual'} till now"


def shop_text(values: ShopValues, *, head: Sequence[str] = _HEAD) -> str:
    """The text of a shop's file, the same for the same values, below the remarks of `head`."""
    lines = [*(f"# {line}" for line in head), f"layerpreview_shop = {SHOP_FORMAT}"]
    if values.card.said:
        lines += ["", table_told("shop"), *(f"{key} = {toml_string(text)}" for key, text in values.card.said.items())]
    for kind, table in (("film", values.film_um), ("transfer", values.transfer), ("drops_per_mL", values.drops_per_mL)):
        for name, own in sorted(table.items()):
            lines += ["", table_told(kind, name), *_own(kind, own)]
    if values.jobs:
        lines += ["", "# What each job taught. Taken anew when that job teaches again; leave it as it is."]
    for job in values.jobs:
        lines += ["", "[[job]]", f"name = {toml_string(job.name)}", f"key = {toml_string(job.key)}"]
        for (kind, name), mean in sorted(job.means.items()):
            lines += [table_told("job", kind, name), *_mean(mean)]
    return "\n".join([*lines, ""])


def _own(kind: str, own: OwnValue) -> Iterator[str]:
    ends = ", ".join(f"{end:g}" for end in (own.range.low, own.range.likely, own.range.high))
    yield f"{KINDS[kind][1]} = [{ends}]"
    yield f"n = {own.n}"
    yield f"jobs = {own.jobs}"


def _mean(mean: JobMean) -> Iterator[str]:
    yield f"likely = {mean.likely:.6g}"
    yield f"n = {mean.n}"
    yield f"groups = {mean.groups}"
    for name in ("between", "within", "unsure"):
        if value := round(getattr(mean, name), 5):
            yield f"{name} = {value:g}"
