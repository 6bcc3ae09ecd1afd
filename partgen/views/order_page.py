"""Order and first-article sheet as one page to print. Pure.

Self-contained, no scripts; text of the profile is escaped.
"""

from __future__ import annotations

from html import escape

from partgen.output.order import GENERAL_TOLERANCE, Order, OrderLine
from partgen.output.quantities import PrintData

_STYLE = """
body { font: 14px/1.4 system-ui, sans-serif; max-width: 62rem; margin: 1.2rem auto; padding: 0 1rem; color: #1c2126; }
h1 { font-size: 1.35rem; margin: 0; } h2 { font-size: 1.05rem; margin: 1.4rem 0 .3rem; break-after: avoid; }
p { margin: .3rem 0; } dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; }
dt { color: #565e68; } dd { margin: 0; } table { border-collapse: collapse; width: 100%; margin: .4rem 0; }
th { text-align: left; font-weight: 600; border-bottom: 1.5px solid #1c2126; vertical-align: bottom; }
th, td { padding: .18rem .5rem .18rem 0; } td { border-bottom: 1px solid #ddd8ce; vertical-align: top; }
.one { white-space: nowrap; }
.num { text-align: right; font-variant-numeric: tabular-nums; } td.box { border: 1px solid #8a929b; min-width: 4.5rem; }
tr { break-inside: avoid; } thead { display: table-header-group; }
.swatch { display: inline-block; width: .8em; height: .8em; border: 1px solid #8a929b; vertical-align: -.08em; }
.note { border-left: 3px solid #b07d00; padding: .2rem .7rem; } .new { break-before: page; }
@media (prefers-color-scheme: dark) { @media screen { body { background: #16191d; color: #e6e8ea; }
  dt { color: #9aa4ae; } td { border-color: #3a424b; } th { border-color: #e6e8ea; } } }
@media (max-width: 45rem) { .scroll { overflow-x: auto; } }
@page { size: A4 landscape; margin: 12mm; }
"""


def order_page(order: Order, data: PrintData | None = None) -> str:
    """The part list and the first-article sheet as HTML."""
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Order sheet: {escape(order.title)} {escape(order.revision)}</title><style>{_STYLE}</style></head><body>
<h1>Order sheet: {escape(order.title)}, {escape(order.revision)}</h1>
{_facts(order, data)}
<p class="note">Print the files as they are: nothing scaled, mirrored or repaired. The sizes below are those of
the finished part at 20 °C; what the process adds or takes away is already allowed for in the files. Every part differs
from the others by tenths of a millimetre: keep them apart, each carries its label.</p>
<h2>Parts</h2>
<div class="scroll"><table><thead><tr><th>No.</th><th>File</th><th>Label</th><th class="num">Pieces</th><th>Colour</th>
<th class="num">Size, mm</th><th>Critical dimensions, mm</th></tr></thead><tbody>
{"".join(_part(line) for line in order.lines)}
</tbody></table></div>
<p>All other sizes {GENERAL_TOLERANCE}. Tolerances: ISO 286-1. Small parts: keep away from children.</p>
<h2 class="new">First article: {escape(order.title)}, {escape(order.revision)}</h2>
<p>Measure the first piece of every part number and write what the calipers show.</p>
<div class="scroll"><table><thead><tr><th>No.</th><th>Label</th><th>Characteristic</th><th>Callout, mm</th>
<th class="num">At least</th><th class="num">At most</th><th>How</th><th>Measured</th><th>Accepted</th></tr></thead>
<tbody>
{"".join(_checks(line) for line in order.lines)}
</tbody></table></div>
<p>Measured by: ____________________ &nbsp; Instrument: ____________________ &nbsp; Date: ______________</p>
</body></html>
"""


def _facts(order: Order, data: PrintData | None) -> str:
    rows = [
        ("Date", order.date),
        ("Pieces", f"{order.pieces} of {len(order.lines)} part numbers"),
        ("Process", order.process),
        ("Material", order.material),
        ("Finish", order.finish),
        ("Orientation", order.orientation),
        ("No support on", order.lines[0].keep_free if order.lines else ""),
    ]
    if data is not None:
        rows.append(("Material needed", f"{data.mass:.1f} g with support, {data.cost:.2f} {data.currency} of material"))
        rows.append(("Time", f"{_duration(data.minutes)} ({data.model})"))
    return (
        "<dl>" + "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in rows if value) + "</dl>"
    )


def _part(line: OrderLine) -> str:
    sizes = " × ".join(f"{side:.1f}" for side in line.extent)
    dimensions = "; ".join(f'<span class="one">{escape(d.name)} {escape(d.size.text)}</span>' for d in line.dimensions)
    swatch = "<br>".join(
        f'<span class="swatch" style="background:{escape(colour)}"></span> {escape(f"{name} {colour}".strip())}'
        for name, colour in (("", line.colour), *line.further)
    )
    return (
        f'<tr><td>{line.number}</td><td>{escape(line.file)}</td><td>{escape(line.label)}</td><td class="num">'
        f'{line.quantity}</td><td>{swatch}</td><td class="num one">{sizes}</td><td>{dimensions}</td></tr>\n'
    )


def _checks(line: OrderLine) -> str:
    return "".join(
        f"<tr><td>{line.number}.{index}</td><td>{escape(line.label)}</td><td>{escape(d.name)}</td>"
        f'<td class="one">{escape(d.size.text)}</td>'
        f'<td class="num">{d.size.lower:.2f}</td><td class="num">{d.size.upper:.2f}</td>'
        f'<td>{escape(d.how)}</td><td class="box"></td><td class="box"></td></tr>\n'
        for index, d in enumerate(line.dimensions, start=1)
    )


def _duration(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return f"about {hours} h {rest:02d} min" if hours else f"about {rest} min"
