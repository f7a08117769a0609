"""How much of each mix to make for a job, and its recipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import ClassVar

from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import dyes_in
from layerpreview.job.needed import Needed, needed_of
from layerpreview.job.pot_life import Serves
from layerpreview.job.products import Details, Product
from layerpreview.job.sprayed import Sprayed, minutes_per_coat
from layerpreview.scheme import Scheme
from layerpreview.scheme.work import TRANSFER_OF_GUN
from layerpreview.spray import to_spray_mL
from layerpreview.spray.batch import Batch, Tools, rounded_up, smallest_batch_mL, split_batch, split_cups
from layerpreview.spray.ingredients import Ingredient, exact, ingredients_of
from layerpreview.told import Told
from layerpreview.units import Range

LARGER_FOR_MEASURING = 3
"""How many times what the job takes is made at most so that it can be measured: more is waste, by our own judgement."""
STEPS_OF_A_CUP = 5
"""Less than so many marks of a cup is no cup."""


@dataclass(frozen=True)
class Cup:
    """One cup of a batch: the coats it serves, in all and by stage, and `why` it is mixed anew ("" for the first)."""

    coats: int
    batch: Batch
    serves: tuple[Serves, ...]
    why: str


@dataclass(frozen=True)
class MixAmounts:
    """One mix of the job [mL]: `needed_mL` = (on the part + past the edges) / transfer + what stays in the cup.

    `make_mL` is the likely amount and the spare, rounded up to what is easily measured (or the batch stated).
    `cups` share the batch when it is catalysed. `one_coat_fits` says whether a coat fits its pot life, where known.
    """

    key: str
    kind: str
    title: str
    stages: tuple[Sprayed, ...]
    product: Product
    on_part_mL: Told
    past_edges_mL: Told
    residue_mL: float
    transfer: Told
    needed_mL: Told
    needed_by_gun_mL: dict[str, Range]
    spare: float
    make_mL: Fraction
    make_basis: str
    ingredients: tuple[Ingredient, ...]
    smallest_mL: Fraction
    batch: Batch
    cups: tuple[Cup, ...]
    pot_life_min: Range | None
    one_coat_fits: bool | None
    warnings: tuple[str, ...]
    ratio: str
    also_in_json: ClassVar = ("basis",)

    @property
    def basis(self) -> str:
        """What the amount that the job takes rests on, in words."""
        return self.needed_mL.basis


def mix_amounts(scheme: Scheme, details: Details, stages: Sequence[Sprayed]) -> tuple[MixAmounts, ...]:
    """The amounts of every mix in the order they are first used. Raises InputError with all that is wrong."""
    found: list[MixAmounts] = []
    problems: list[Problem] = []
    for needed in needed_of(scheme, stages):
        try:
            found.append(_mix(scheme, details, needed))
        except InputError as error:
            problems += [replace(problem, file=scheme.shown_file) for problem in error.problems]
    if problems:
        raise InputError(problems)
    return tuple(found)


def _mix(scheme: Scheme, details: Details, needed: Needed) -> MixAmounts:
    product = needed.product
    ingredients = _ingredients(scheme, needed)
    smallest = smallest_batch_mL(ingredients, details.tools)
    stated = details.batch_mL.get(needed.title) if needed.kind == "dye" else None
    make, basis, coarse = _make(details, stated, needed.needed_mL, smallest)
    if stated is None and not coarse and (easier := _easiest(ingredients, make, details)) > make:
        make, basis = easier, f"{basis}, and more so that its dyes come out exactly or nearly so"
    volumes = _cup_volumes(needed, make, smallest, details.tools)
    if sum(volumes) > make:
        make, basis = sum(volumes, Fraction(0)), "more than the job takes, so that every cup can be measured"
    batch = split_batch(ingredients, batch_mL=make, tools=details.tools, coarse=coarse, place=_place(needed))
    cups = tuple(
        Cup(
            mixing.coats,
            split_batch(ingredients, batch_mL=volume, tools=details.tools, coarse=True, place=_place(needed)),
            mixing.serves,
            mixing.why,
        )
        for mixing, volume in zip(needed.mixings, volumes, strict=bool(volumes))
    )
    return MixAmounts(
        key=needed.key,
        kind=needed.kind,
        title=needed.title,
        stages=needed.stages,
        product=product,
        on_part_mL=needed.on_part_mL,
        past_edges_mL=needed.past_edges_mL,
        residue_mL=needed.residue_mL,
        transfer=scheme.gun.transfer,
        needed_mL=needed.needed_mL,
        needed_by_gun_mL={
            kind: to_spray_mL(
                landed_mL=needed.on_part_mL,
                past_edges_mL=needed.past_edges_mL,
                transfer=transfer,
                residue_mL=needed.residue_mL,
            )
            for kind, transfer in _transfers(scheme).items()
        },
        spare=details.spare.likely,
        make_mL=make,
        make_basis=basis,
        ingredients=ingredients,
        smallest_mL=smallest,
        batch=batch,
        cups=cups,
        pot_life_min=product.pot_life_min,
        one_coat_fits=_one_coat_fits(needed),
        warnings=_warnings([cup.batch for cup in cups] or [batch], smallest),
        ratio=product.ratio.written if product.ratio else "",
    )


def _transfers(scheme: Scheme) -> dict[str, Range]:
    """Transfer by kind of gun: this shop's own where it was measured, else the usual."""
    own = scheme.own
    return {kind: (own and own.transfer_of(kind)) or usual for kind, usual in TRANSFER_OF_GUN.items()}


def _make(details: Details, stated: Fraction | None, needed: Range, smallest: Fraction) -> tuple[Fraction, str, bool]:
    """What to make, why that much, and whether coarse parts are accepted."""
    if stated is not None:
        made = rounded_up(stated, details.tools.cup_step_mL(stated))
        return made, "as stated" if made == stated else "as stated, up to the next mark of the cup", False
    wanted = exact(round(needed.likely * (1.0 + details.spare.likely), 3))
    make = _handy(wanted, details.tools)
    usual = f"likely amount and {100 * details.spare.likely:g} % spare ({details.spare.basis}), rounded up"
    if make >= smallest:
        return make, usual, False
    if smallest <= LARGER_FOR_MEASURING * make:
        reason = "more than the job takes, so that the smallest part can be measured within 5 %"
        return _handy(smallest, details.tools), reason, False
    return make, usual, True


def _easiest(ingredients: Sequence[Ingredient], make_mL: Fraction, details: Details) -> Fraction:
    """Of this batch and slightly larger ones, the first whose dyes come out within 1 %, else the best of them."""
    sizes = dict.fromkeys(_handy(make_mL * (100 + percent) / 100, details.tools) for percent in (0, 5, 10, 15, 20))

    def worst(size: Fraction) -> Fraction:
        parts = split_batch(ingredients, batch_mL=size, tools=details.tools, coarse=True).parts
        return max((abs(part.error_percent) for part in parts if part.kind in ("dye", "powder")), default=Fraction(0))

    return next((size for size in sizes if worst(size) <= 1), min(sizes, key=worst))


def _handy(mL: Fraction, tools: Tools) -> Fraction:
    """The next round amount that is also a mark of the cup."""
    for most, step in ((100, 5), (500, 10), (2000, 50)):
        up = rounded_up(mL, rounded_up(Fraction(step), tools.cup_step_mL(mL)))
        if up <= most:
            return up
    return rounded_up(mL, rounded_up(Fraction(100), tools.cup_step_mL(mL)))


def _place(needed: Needed) -> str:
    """Where the scheme has the keys of this batch's product."""
    kind, _, name = needed.key.partition(" ")
    if kind in ("base", "base_of"):
        return f"{kind}.{name}.coat" if name else f"{kind}.coat"
    own = next((stage.title for stage in needed.stages if stage.product is needed.product), name)
    return f"{kind}.{own if kind == 'paint' else name}" if name else kind


def _ingredients(scheme: Scheme, needed: Needed) -> tuple[Ingredient, ...]:
    product = needed.product
    densities = {part: exact(value) for part, value in product.densities_g_per_mL.items()}
    ratio = product.ratio
    names: dict[str, str] = {}
    if ratio:
        names = {part: word for (part, _), word in zip(ratio.parts, ratio.words, strict=False)}
    if needed.kind == "dye":
        names["carrier"] = scheme.mixes[needed.title].carrier
    names.update(product.part_names)
    dyes: list[Ingredient] = []
    if needed.kind == "dye":
        for part in dyes_in(scheme, scheme.mixes[needed.title]):
            density = scheme.dyes[part.name].density_g_per_mL
            dyes.append(
                Ingredient(
                    part.name,
                    "powder" if part.powder else "dye",
                    exact(part.as_sold_per_L.likely) / 1000,
                    None if density is None else exact(density),
                    part.drops_per_mL,
                    counted=part.strength.unit == "drops/L",
                )
            )
    elif not product.ratio:
        names.setdefault("carrier", f"{needed.title}, ready to spray")
    return ingredients_of(
        [dye for dye in dyes if dye.share],
        product.ratio,
        names=names,
        densities_g_per_mL=densities,
        place=_place(needed),
    )


def _weights(needed: Needed) -> list[Fraction]:
    """What each mixing of a batch takes [mL]: its coats, and what is left in the gun where it is filled for them."""
    landed = [(stage.on_part_mL.likely + stage.past_edges_mL.likely) / stage.coats for stage in needed.stages]
    lost = needed.residue_mL / max(sum(needed.fills), 1)
    share = (needed.needed_mL.likely - needed.residue_mL) / max(
        needed.on_part_mL.likely + needed.past_edges_mL.likely, 1e-9
    )
    found, filled = [], set[int]()
    for mixing in needed.mixings:
        takes = 0.0
        for serves in mixing.serves:
            takes += landed[serves.stage] * serves.coats * share
            takes += lost if needed.fills[serves.stage] and serves.stage not in filled else 0.0
            filled.add(serves.stage)
        found.append(exact(round(takes, 6)))
    return found


def _cup_volumes(needed: Needed, make_mL: Fraction, smallest_mL: Fraction, tools: Tools) -> tuple[Fraction, ...]:
    """What each cup of a batch holds [mL]; none where one cup is enough, or none is needed.

    None holds less than can be measured within 5 %, but where that takes far more than the job.
    """
    weights, step = _weights(needed), tools.cup_step_mL(make_mL)
    if len(weights) < 2 or not any(weights):
        return ()
    volumes = split_cups(make_mL, weights=weights, step_mL=step)
    least = rounded_up(smallest_mL, step)
    enough = tuple(max(volume, least) for volume in volumes)
    if sum(enough) > LARGER_FOR_MEASURING * make_mL:
        enough = tuple(max(volume, STEPS_OF_A_CUP * step) for volume in volumes)
    total = sum(enough, Fraction(0))
    first, *others = enough
    return (first + rounded_up(total, tools.cup_step_mL(total)) - total, *others)


def _one_coat_fits(needed: Needed) -> bool | None:
    """Whether a coat of every stage fits the pot life at its shortest; None without one."""
    if not needed.mixings or needed.product.pot_life_min is None:
        return None
    least = needed.product.pot_life_min.low
    return all(minutes_per_coat(stage).high <= least for stage in needed.stages)


def _warnings(batches: Sequence[Batch], smallest: Fraction) -> tuple[str, ...]:
    """What is too little to measure well, once each."""
    off = {part.name: part.error_percent for batch in batches for part in batch.parts if abs(part.error_percent) > 5}
    return tuple(
        f"{name}: this little cannot be measured within 5 % (off by {float(error):+.1f} %). Make {float(smallest):g} "
        "mL at once, use a finer scale or syringe, or dissolve ten times as much in ten parts of carrier and use one."
        for name, error in off.items()
    )
