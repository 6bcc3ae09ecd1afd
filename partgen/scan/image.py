"""Reads a scan from a file, within bounds of memory and time.

Everything is decided from the file's header before any pixel is decoded, so that a hostile or huge
file costs nothing.
"""

from __future__ import annotations

import contextlib
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from partgen.core.errors import Fault, InputError, OutsideError
from partgen.scan.scan_records import ByteArray, Picture

if TYPE_CHECKING:
    from PIL.Image import Image

FORMATS = ("PNG", "JPEG", "TIFF", "BMP", "PPM", "WEBP")
LOSSY = ("JPEG", "WEBP")
MOST_PIXELS = 150_000_000  # an A4 page at 1200 dots per inch; 450 MB as bytes
MOST_BYTES = 1_000_000_000
LEAST_SIDE = 64
DPI = (50.0, 4800.0)
LEAST_DPI = 100.0
_EXIF = 0x8769
_CAMERA = {0x829A, 0x829D, 0x920A}
"""Exposure time, aperture, focal length: CIPA DC-008 (Exif 2.3), 4.6.5 (numbers from memory)."""
PHOTO_NEEDS = (
    "a flatbed scan, or a photograph with the marker sheet lying on the panel: print one with "
    "`partgen scan --sheet sheet.pdf`, lay it beside the holes and take the photograph from above"
)


@dataclass(frozen=True)
class Loaded:
    """A picture's pixels, upright, and what its file says of itself."""

    name: str
    source: str
    """Its path as given, for messages."""
    rgb: ByteArray
    tag: tuple[float, float] | None
    """Dots per inch (across, along), or None where the file says none that can be meant."""
    lossy: bool
    by_camera: bool
    """True where the file says which camera settings it was taken with."""
    notes: tuple[str, ...]


def read_picture(path: Path, dpi: float | None = None) -> Picture:
    """The scan at `path`; `dpi` overrides its resolution tag.

    Raises InputError for anything that is not a scan in grey or colour that can be measured, a photograph
    among it, OutsideError when the disk fails.
    """
    return as_scan(load(path), dpi)


def as_scan(loaded: Loaded, dpi: float | None = None) -> Picture:
    """A loaded picture as a flatbed scan. Raises InputError for a photograph, and without a resolution."""
    if loaded.by_camera:
        raise InputError(Fault(loaded.source, "a photograph without the marker sheet", PHOTO_NEEDS))
    notes = [*loaded.notes]
    return Picture(loaded.name, loaded.rgb, _chosen(loaded.tag, dpi, loaded.source, notes), tuple(notes), loaded.lossy)


def load(path: Path) -> Loaded:
    """The picture at `path`, turned upright as its file says.

    Raises InputError for what is no picture, too large, or of one even tone; OutsideError when
    the disk fails.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    where = str(path)
    if not path.is_file():
        raise InputError(Fault(where, "", "there is no such file"))
    size = path.stat().st_size
    if size == 0:
        raise InputError(Fault(where, "an empty file", "a scan as PNG, TIFF or JPEG"))
    if size > MOST_BYTES:
        raise InputError(Fault(where, f"{size / 1e9:.1f} GB", "a scan below 1 GB: 300 dots per inch is enough"))
    notes: list[str] = []
    _refuse_heic(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the size is judged here, from the header; damage raises or shows
            with Image.open(path, formats=FORMATS) as image:
                _check_header(image, where)
                tag = _resolution(image)
                pictures = getattr(image, "n_frames", 1)
                turned = ImageOps.exif_transpose(image)
                swapped = turned.size != image.size
                lossy = image.format in LOSSY
                by_camera = bool(set(image.getexif().get_ifd(_EXIF)) & _CAMERA)
                rgb = _as_rgb(turned, notes)
    except InputError:
        raise
    except (UnidentifiedImageError, Image.DecompressionBombError) as error:
        huge = isinstance(error, Image.DecompressionBombError)
        read = "a picture of far too many pixels" if huge else "something that is not a picture"
        raise InputError(Fault(where, read, "a scan as PNG, TIFF, JPEG, BMP or WebP, at 300 dots per inch")) from error
    except PermissionError as error:
        raise OutsideError(f"{path} cannot be read: {error.strerror or error}") from error
    except Exception as error:  # decoders raise many unrelated types for damaged files
        read = "a picture that ends early or is damaged"
        raise InputError(Fault(where, read, f"a whole scan; scan or copy it again ({error})")) from error
    if pictures > 1:
        notes.append(f"{path.name} holds {pictures} pictures; the first was used.")
    if tag is not None and swapped:
        tag = (tag[1], tag[0])
    if int(rgb.max()) - int(rgb.min()) < 12:
        raise InputError(
            Fault(where, "one even tone all over", "a scan of the panel, with a dark or bright sheet behind it")
        )
    return Loaded(path.name, where, rgb, tag, lossy, by_camera, tuple(notes))


def _refuse_heic(path: Path) -> None:
    """Raises InputError for the format that some phones save by themselves (ISO/IEC 23008-12)."""
    with contextlib.suppress(OSError), path.open("rb") as file:
        head = file.read(12)
        if head[4:8] == b"ftyp" and head[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"avif"):
            jpeg = "a JPEG: send it from the phone as JPEG, or set its camera to the most compatible format"
            raise InputError(Fault(str(path), "a picture as HEIC or AVIF", jpeg))


def _check_header(image: Image, where: str) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise InputError(
            Fault(where, f"{width} x {height} = {width * height / 1e6:.0f} megapixels",
                  "at most 150 megapixels: scan again at 300 dots per inch")
        )  # fmt: skip
    if min(width, height) < LEAST_SIDE:
        raise InputError(
            Fault(where, f"{width} x {height} pixels", "a scan of the whole panel at 150 to 600 dots per inch")
        )
    if image.mode == "1":
        raise InputError(
            Fault(where, "black and white only (1 bit)",
                  "a scan in grey or colour: an edge is found between two tones, and here there is no tone between")
        )  # fmt: skip


def _resolution(image: Image) -> tuple[float, float] | None:
    """The tag in dots per inch (across, along), or None where it is missing or cannot be meant."""
    tag: Any = image.info.get("dpi")
    try:
        across, along = float(tag[0]), float(tag[1])
    except (TypeError, ValueError, IndexError, ZeroDivisionError, KeyError):
        return None
    return (across, along) if all(DPI[0] <= d <= DPI[1] for d in (across, along)) else None


def _chosen(tag: tuple[float, float] | None, dpi: float | None, where: str, notes: list[str]) -> tuple[float, float]:
    if dpi is not None:
        if not LEAST_DPI <= dpi <= DPI[1]:
            raise InputError(Fault("--dpi", f"{dpi:g}", f"between {LEAST_DPI:g} and {DPI[1]:g} dots per inch"))
        if tag is not None and max(abs(t / dpi - 1) for t in tag) > 0.02:
            notes.append(f"The file says {tag[0]:g} dots per inch; {dpi:g} was used, as asked.")
        return (dpi, dpi)
    if tag is None:
        raise InputError(
            Fault(
                where,
                "no resolution tag and no marker sheet",
                "a scan with its resolution (or say what the scanner was set to: --dpi 300), or a sharp photograph "
                "with the marker sheet in it",
            )
        )
    if min(tag) < LEAST_DPI:
        raise InputError(
            Fault(
                where,
                f"{min(tag):.0f} dots per inch",
                "a scan at 150 to 600 dots per inch; if that is wrong, say what the scanner was set to: --dpi 300",
            )
        )
    return tag


def _as_rgb(image: Image, notes: list[str]) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """Bytes (h, w, 3) whatever the mode; deep greys are brought down to 8 bits, alpha is laid on white."""
    from PIL import Image as PillowImage

    mode = image.mode
    if mode.startswith("I") or mode == "F":
        deep = np.asarray(image, dtype=np.float32)
        if not np.isfinite(deep).all():
            raise ValueError("it has tones that are not numbers")
        top = 65535.0 if mode.startswith("I") else max(1.0, float(deep.max()))
        grey = np.clip(deep * (255.0 / top), 0, 255).round().astype(np.uint8)
        notes.append("The scan has 16 bits a tone; 8 were used, which is more than edges need.")
        return np.repeat(grey[:, :, None], 3, axis=2)
    if mode == "CMYK":
        notes.append("The scan is in printing inks (CMYK); it was turned into red, green and blue first.")
    if "A" in mode or mode.endswith("a") or "transparency" in image.info:
        white = PillowImage.new("RGBA", image.size, "white")
        image = PillowImage.alpha_composite(white, image.convert("RGBA"))
        notes.append("Transparent places were taken as white.")
    return np.asarray(image.convert("RGB"), dtype=np.uint8)
