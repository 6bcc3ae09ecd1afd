"""The coupon's measuring sheet: one self-contained page to print, with a picture and boxes to fill. Pure."""

from __future__ import annotations

from html import escape

from partgen.core.cautions import DEFER, SMALL
from partgen.output.coupon_parts import Coupon
from partgen.output.coupon_readings import rung_name
from partgen.profile.coupon_features import BAR, BASE, FIN, STEP_SIZE, TONGUE_LENGTH, Feature, FeatureClass

_GROUPS: tuple[tuple[FeatureClass, str, str], ...] = (
    (
        "hole",
        "Bores",
        "Inside jaws, straight through the bar. Squares: at least once along each direction.",
    ),
    ("peg", "Pegs and the tongue's top", "Outside jaws, well above the plate. Squares: once along each direction."),
    (
        "flare",
        "The tongue at the bed",
        "Outside jaws across the same tongue, at the edge that lay on the printer's bed.",
    ),
    ("wall", "Fins", "Outside jaws across the fin's upper half; press lightly."),
    ("height", "Steps", "Outside jaws from the plate's underside to the top of the step."),
)
_CAUTIONS = {
    "material-extrusion": "Nozzle and bed are hot. Print with ventilation.",
    "vat-photopolymerization": "Gloves, eye protection and ventilation for liquid resin; no flame near the solvent; "
    "wash and cure the coupon like the parts.",
    "powder-bed-fusion": "Do not breathe powder: brush or suck it off with a mask on; never blow.",
}
_STYLE = """
body { font: 15px/1.45 system-ui, sans-serif; max-width: 46rem; margin: 1.5rem auto; padding: 0 1rem; color: #1c2126; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; } h2 { font-size: 1.05rem; margin: 1.2rem 0 .2rem; break-after: avoid; }
p { margin: .3rem 0; } table { border-collapse: collapse; width: 100%; break-inside: avoid; }
th { text-align: left; font-weight: 600; } th, td { padding: .15rem .5rem .15rem 0; }
td.box { border: 1px solid #8a929b; width: 5.2rem; height: 1.5rem; } td.size { color: #565e68; }
svg { width: 100%; height: auto; margin: .4rem 0; } .caution { border: 1px solid #b07d00; padding: .4rem .7rem; }
@media (prefers-color-scheme: dark) { @media screen { body { background: #16191d; color: #e6e8ea; }
  td.size { color: #9aa4ae; } svg { filter: invert(.92) hue-rotate(180deg); } } }
@page { margin: 14mm; }
"""


def sheet(coupon: Coupon, minutes: float) -> str:
    """The page as HTML."""
    printer = coupon.printer
    groups = "".join(_group(coupon, kind, title, how) for kind, title, how in _GROUPS)
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Coupon for {escape(printer.title or printer.process)}</title><style>{_STYLE}</style></head><body>
<h1>What your printer makes of a millimetre</h1>
<p>Print <b>coupon.3mf</b>, or the .stl files beside it, with the settings, the material
({escape(printer.material)}) and the layers ({printer.layer_height:g} mm) that the parts will have; flat side down, no
support, nothing scaled. About {minutes:.0f} minutes once the machine is warm. Let it cool before measuring.</p>
<p class="caution">{_CAUTIONS[printer.process]} {SMALL} {DEFER}</p>
{_picture(coupon)}
<p>Take every size three times, lifting the calipers in between. Write what they show; do not correct, do not average.
Leave out what you cannot reach. Printing the coupon twice, on two days, is worth more than measuring one twice.</p>
{groups}{_ladder(coupon)}
<p>Then type the readings into <b>readings.csv</b> and run <code>partgen calibrate</code> with the printer's name and
that file, or without the file to be asked for one reading after another.</p>
</body></html>
"""


def _group(coupon: Coupon, kind: FeatureClass, title: str, how: str) -> str:
    rows = "".join(
        f'<tr><td>{escape(f.name)}</td><td class="size">about {f.nominal:g}</td>'
        + 3 * '<td class="box"></td>'
        + "</tr>"
        for f in coupon.features
        if f.kind == kind
    )
    return f"<h2>{title}</h2><p>{how}</p><table>{rows}</table>"


def _ladder(coupon: Coupon) -> str:
    if not coupon.rungs:
        return ""
    rows = "".join(
        f'<tr><td>{rung.number}</td><td class="size">{escape(rung_name(rung.number, rung.clearance))}</td>'
        '<td class="box" style="width:11rem"></td></tr>'
        for rung in coupon.rungs
    )
    return f"""<h2>Fit ladder for {escape(coupon.seat)}</h2>
<p>Break the sockets apart. Switch the instrument off and unplug it; with its panel off, try them on one seat, from the
largest number down, pushing straight and only by hand. Stop when one needs force. Write how each felt:
<b>loose</b> (falls off when turned over), <b>holds</b> (goes on by hand and stays), <b>tight</b> (needs force),
<b>no</b> (does not go on).</p><table>{rows}</table>"""


def _picture(coupon: Coupon) -> str:
    """The gauge from above, in mm, with every feature's name."""
    shapes = [
        _rect(0, 0, BASE[0], BASE[1], "#eef1f4"),
        _rect(0, 0, BAR[0], BAR[1], "#d5dbe1"),
    ]
    labels = []
    for feature in coupon.features:
        x, y = feature.at
        shapes.append(_shape(feature, x, y))
        labels.append(_label(feature, x, y))
    width, depth = BASE[0] + TONGUE_LENGTH + 22, BASE[1]
    return (
        f'<svg viewBox="-2 {-depth - 2.5:g} {width:g} {depth + 4.5:g}" role="img" '
        'aria-label="The coupon seen from above" font-family="system-ui, sans-serif" font-size="1.5">'
        f"{''.join(shapes)}{''.join(labels)}</svg>"
    )


def _shape(feature: Feature, x: float, y: float) -> str:
    half = feature.nominal / 2
    if feature.kind == "hole":
        fill = "#ffffff"
    elif feature.kind == "flare":
        return ""
    else:
        fill = "#aeb8c2"
    if feature.name == "tongue-top":
        return _rect(BAR[0], y - half, TONGUE_LENGTH, feature.nominal, fill)
    if feature.kind == "wall":
        return _rect(x - half, y - FIN / 2, feature.nominal, FIN, fill)
    if feature.kind == "height":
        a, b = STEP_SIZE
        return _rect(x - a / 2, y - b / 2, a, b, fill)
    if "-round-" in feature.name:
        return f'<circle cx="{x:g}" cy="{-y:g}" r="{half:g}" fill="{fill}" stroke="#1c2126" stroke-width=".15"/>'
    return _rect(x - half, y - half, feature.nominal, feature.nominal, fill)


def _rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return (
        f'<rect x="{x:g}" y="{-y - height:g}" width="{width:g}" height="{height:g}" fill="{fill}" '
        'stroke="#1c2126" stroke-width=".15"/>'
    )


def _label(feature: Feature, x: float, y: float) -> str:
    if feature.name.startswith("tongue"):
        row = 1.2 if feature.name == "tongue-top" else -1.2
        where = "upper half" if feature.name == "tongue-top" else "at the bed"
        return f'<text x="{BAR[0] + TONGUE_LENGTH + 0.8:g}" y="{-y - row:g}">{feature.name} ({where})</text>'
    lines = feature.name.split("-")
    up = 1.6 * (len(lines) - 1) / 2
    if feature.kind == "wall":
        return f'<text x="{x:g}" y="{-BASE[1] - 0.5:g}" text-anchor="middle" font-size="1.1">{" ".join(lines)}</text>'
    size = 1.0 if feature.nominal < 4.5 or feature.kind == "height" else 1.3
    return "".join(
        f'<text x="{x:g}" y="{-y - up + 1.6 * i + 0.5:g}" text-anchor="middle" font-size="{size:g}">{line}</text>'
        for i, line in enumerate(lines)
    )
