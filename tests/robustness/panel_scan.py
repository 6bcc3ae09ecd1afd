"""A scan of the small bench's panel, drawn: three slots in a light panel, on a scanner at 200 dpi, face up."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

DISTANCES = ("--distance", "LEFT RIGHT 50.8 mm", "--distance", "LEFT MIDDLE 29.95 mm")
"""What calipers read on the panel that is drawn."""
OVER = 4
"""Drawn that much finer and averaged, as a sensor does."""


def panel_scan(path: Path) -> Path:
    pixels = 200 / 25.4
    size = (90.0, 50.0)
    image = Image.new("RGB", (round(size[0] * pixels * OVER), round(size[1] * pixels * OVER)), (205, 204, 199))
    pen = ImageDraw.Draw(image)
    for x, y in ((0.0, 0.0), (25.4, 15.875), (50.8, 0.0)):
        across, down = 18.0 + x, 34.0 - y
        box = [v * pixels * OVER for v in (across - 7.0, down - 4.0, across + 7.0, down + 4.0)]
        pen.rounded_rectangle(box, 4.0 * pixels * OVER, (18, 18, 20))
    image.resize((round(size[0] * pixels), round(size[1] * pixels)), Image.Resampling.BOX).save(path, dpi=(200, 200))
    return path
