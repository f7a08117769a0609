"""The figures as text for a terminal (short rows, units in the heads, ranges as low .. likely .. high), and as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

from layerpreview.finish.look import Appearance
from layerpreview.job.figures import CoatFigures, ColourFigures, DyeFigures, Figures
from layerpreview.output.plain_json import plain_json, text_table
from layerpreview.output.result import Result
from layerpreview.picture.spots import SpotKind
from layerpreview.scheme import Scheme
from layerpreview.told import Told

FIGURES = "figures.json"


def figures_result(scheme: Scheme, figures: Figures) -> Result[Figures]:
    """The figures with their ways out; the table has a row for every place and light."""
    return Result(
        found=figures,
        line=f"Figures {figures.scheme}, {len(figures.coats)} coats, {' '.join(scheme.lights)}",
        document=lambda _: _document(figures),
        rows=lambda: [_colour_row(colour) for colour in figures.colours],
        text=lambda: figures_text(figures),
        names=(FIGURES,),
        json_name=FIGURES,
        inputs=scheme.inputs,
    )


def _colour_row(colour: ColourFigures) -> dict[str, object]:
    return {
        "light": colour.light,
        "spot": colour.spot,
        **dict(zip(("L", "a", "b"), colour.lab, strict=True)),
        "srgb": colour.srgb,
        "thin_de00": colour.thin_de00,
        "full_de00": colour.full_de00,
        "face": colour.face,
        "x_mm": colour.at_mm[0],
        "y_mm": colour.at_mm[1],
    }


def _document(figures: Figures) -> dict[str, object]:
    return {field.name: getattr(figures, field.name) for field in fields(figures)}


def figures_json(
    figures: Figures, appearances: Sequence[Appearance] = (), out_of_gamut: Mapping[str, float] | None = None
) -> str:
    """The figures, and for a rendering also the wavelengths used under each light and the share outside the gamut."""
    document = _document(figures)
    if appearances:
        document["wavelengths"] = [
            {
                "light": look.light,
                "wavelength_nm": [float(nm) for nm in look.wavelength_nm],
                "p99_delta_e_2000": round(look.nodes.p99_delta_e, 4),
                "max_delta_e_2000": round(look.nodes.max_delta_e, 4),
                "within_limits": look.nodes.within_limits,
            }
            for look in (appearance.worst for appearance in appearances)
        ]
    if out_of_gamut is not None:
        document["share_outside_screen_gamut"] = dict(out_of_gamut)
    return plain_json(document)


def shown(figure: Told, *, unit: bool = True) -> str:
    """A figure to three digits, with its range where it has one.

    >>> shown(Told(28.0, 40.0, 55.0, "um"))
    '40 (28..55) um'
    """
    text = _number(figure.likely)
    if figure.high - figure.low > 1e-9 * max(abs(figure.high), 1e-30):
        text += f" ({_number(figure.low)}..{_number(figure.high)})"
    return f"{text} {figure.unit}" if unit and figure.unit else text


def _number(value: float) -> str:
    if value == 0.0:
        return "0"
    digits = f"{value:.3g}"
    return f"{float(digits):.0f}" if "e" in digits and abs(value) >= 1 else digits


def figures_text(figures: Figures) -> str:
    """The whole table."""
    parts = [figures.scheme, "=" * min(len(figures.scheme), 100), ""]
    parts += [f"{name}: {area * 1e4:.0f} cm2 ({area * 1550.0031:.0f} sq in)" for name, area in figures.faces.items()]
    for zone in figures.zones:
        what = "taped off, no paint" if zone.masked else "zone"
        tape = f", {zone.tape_mm / 10:.0f} cm of tape" if zone.tape_mm else ""
        parts.append(f"  {zone.name} on {zone.face} ({what}): {zone.area_m2 * 1e4:.0f} cm2{tape}")
    for coat in figures.coats:
        parts += ["", *_coat(coat)]
    if figures.coats:
        parts += ["", "The job takes, with what misses the part and stays in the cup (as on the mix sheet):"]
        amounts = [*figures.mixes.items(), *figures.paints.items()]
        parts += text_table([[f"  {name}", shown(amount)] for name, amount in amounts])
    parts += ["", "Colour (L*, a*, b* adapted to D65; mean of the base). Thin and full: how far it is off (CIEDE2000)"]
    parts += ["where film, drops and learnt dyes are all at the low or all at the high end of their ranges:"]
    rows = [
        [
            f"  {c.light}",
            c.spot,
            *(f"{v:.1f}" for v in c.lab),
            c.srgb,
            f"{c.thin_de00:.1f}" if c.kind is not SpotKind.BASE else "",
            f"{c.full_de00:.1f}" if c.kind is not SpotKind.BASE else "",
            f"{c.at_mm[0]:.0f}, {c.at_mm[1]:.0f}",
            "" if c.on_screen else "outside this screen's gamut",
        ]
        for c in figures.colours
    ]
    parts += text_table([["  light", "spot", "L*", "a*", "b*", "swatch", "thin", "full", "at mm", ""], *rows])
    parts += ["", *_lights(figures), *_flop(figures)]
    return "\n".join([*parts, *figures.notes, *(f"Look again: {caution}" for caution in figures.cautions), ""])


def _lights(figures: Figures) -> list[str]:
    if len(figures.lights) < 2:
        return []
    rows = [["  under", "", "differs from the first light by", "and from grey by (CIEDE2000, adapted to D65)"]]
    rows += [
        [f"  {shift.light}", shift.spot, f"{shift.from_first:.1f}", f"{shift.from_grey:.1f}"]
        for shift in figures.lights
    ]
    return [*text_table(rows), ""]


def _flop(figures: Figures) -> list[str]:
    if not figures.flop:
        return []
    angles = next(iter(figures.flop.values())).lab
    rows = [["  lamp at 45 deg; deg from the mirror direction", "", *angles, "flop index"]]
    for spot, flop in figures.flop.items():
        for i, name in enumerate(("L*", "a*", "b*")):
            index = f"{flop.flop_index:.1f}" if i == 0 else ""
            rows.append([f"  {spot}" if i == 0 else "", name, *(f"{lab[i]:.1f}" for lab in flop.lab.values()), index])
    return ["Face to flop (flakes alone, no relief; computed):", *text_table(rows), ""]


def _coat(coat: CoatFigures) -> list[str]:
    times = f"{coat.coats} coat{'s' if coat.coats > 1 else ''}"
    lines = [f"{coat.order}. {coat.what}: {times}, {coat.where}"]
    rows = [["   wet film, each coat", shown(coat.wet_um_per_coat), coat.wet_um_per_coat.basis]]
    if coat.dry_um_all_coats:
        rows.append(["   dry film, all coats", shown(coat.dry_um_all_coats), coat.dry_um_all_coats.basis])
    if coat.peak_absorbance10:
        text = f"{shown(coat.peak_absorbance10, unit=False)} at {coat.peak_nm:.0f} nm"
        rows.append(["   absorbance, one pass, full build", text, coat.peak_absorbance10.basis])
    if coat.hidden_at_edge is not None:
        rows.append(["   hides at full build", f"{100 * coat.hidden_at_edge:.1f} %", "stated"])
    if coat.mean_build < 0.9995:
        rows.append(["   mean build over the face", f"{coat.mean_build:.2f}", "computed"])
    rows.append(["   mix sprayed", shown(coat.mix_needed_mL), coat.mix_needed_mL.basis])
    for dye in coat.dyes:
        rows += _dye(dye, coat.mix_needed_mL)
    return lines + text_table(rows)


def _dye(dye: DyeFigures, mix_needed_mL: Told) -> list[list[str]]:
    rows = [
        [
            f"   {dye.name} ({dye.kind}), {dye.strength}",
            shown(dye.load_per_coat_mg_m2) + " a coat",
            dye.pure_g_per_L.basis,
        ],
        ["      as sold, on the part", shown(dye.as_sold_per_coat) + " a coat", dye.as_sold_per_coat.basis],
        ["      to measure out", shown(dye.needed), _beyond(dye.needed, mix_needed_mL)],
    ]
    if dye.needed_drops:
        rows.append(["      or counted", shown(dye.needed_drops), _beyond(dye.needed_drops, dye.needed)])
    return rows


def _beyond(figure: Told, above: Told) -> str:
    """What a figure rests on besides what the one above it does."""
    own = tuple(rest for rest in figure.rests_on if rest not in above.rests_on)
    return "; ".join(filter(None, (replace(figure, rests_on=own).basis, "the mix")))
