"""Files that are no scan: a clear refusal before any pixel is decoded, in bounded memory."""

from __future__ import annotations

import io
import struct
import tracemalloc
import zlib

import numpy as np
import pytest
from PIL import Image

from partgen.core.errors import InputError
from partgen.scan.image import read_picture

GREY = np.tile(np.linspace(20, 230, 200).astype(np.uint8), (160, 1))


def saved(tmp_path, image, name="scan.png", **kw):
    path = tmp_path / name
    image.save(path, **({"dpi": (300, 300)} | kw))
    return path


def png_header(width, height):
    """A whole PNG of almost no bytes that claims to be huge."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 4096)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "LA", "P", "CMYK"])
def test_every_common_mode_becomes_bytes_in_three_colours(tmp_path, mode):
    name = "scan.tif" if mode in ("CMYK", "LA") else "scan.png"
    picture = read_picture(
        saved(tmp_path, Image.fromarray(GREY).convert("RGB").convert(mode, palette=Image.Palette.ADAPTIVE), name)
    )
    assert picture.rgb.shape == (160, 200, 3)
    assert picture.dpi == pytest.approx((300, 300), abs=0.01)
    assert np.abs(picture.rgb[..., 0].astype(int) - GREY).max() <= 4
    assert any("CMYK" in note for note in picture.notes) == (mode == "CMYK")


def test_sixteen_bit_greys_are_brought_down_and_said(tmp_path):
    deep = Image.fromarray(GREY.astype(np.uint16) * 257)
    picture = read_picture(saved(tmp_path, deep, "scan.tif"))
    assert np.abs(picture.rgb[..., 1].astype(int) - GREY).max() <= 1
    assert any("16 bits" in note for note in picture.notes)


def test_one_bit_is_refused_with_the_reason(tmp_path):
    with pytest.raises(InputError, match="grey or colour"):
        read_picture(saved(tmp_path, Image.fromarray(GREY).convert("1")))


def test_one_even_tone_is_refused(tmp_path):
    with pytest.raises(InputError, match="even tone"):
        read_picture(saved(tmp_path, Image.new("RGB", (200, 200), (90, 90, 90))))


@pytest.mark.parametrize(("width", "height"), [(13_000, 12_000), (25_000, 20_000), (2**31 - 1, 2**31 - 1), (1, 10**6)])
def test_huge_and_odd_sizes_are_refused_from_the_header_in_little_memory(tmp_path, width, height):
    path = tmp_path / "huge.png"
    path.write_bytes(png_header(width, height))
    tracemalloc.start()
    with pytest.raises(InputError, match=r"megapixels|far too many pixels|whole panel"):
        read_picture(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 30_000_000


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "BMP"])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.9])
def test_a_file_that_ends_early_is_refused(tmp_path, kind, share):
    buffer = io.BytesIO()
    noise = np.random.default_rng(0).integers(0, 255, (300, 300, 3)).astype(np.uint8)
    Image.fromarray(noise).save(buffer, kind, dpi=(300, 300))
    path = tmp_path / "cut"
    path.write_bytes(buffer.getvalue()[: int(len(buffer.getvalue()) * share)])
    with pytest.raises(InputError):
        read_picture(path)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"title = 1\n",
        b"<svg onload='alert(1)'></svg>",
        b"%!PS\n1 0 0 setrgbcolor",
        b"GIF89a" + bytes(64),
        bytes(4096),
    ],
)
def test_other_files_are_refused(tmp_path, content):
    path = tmp_path / "scan.png"
    path.write_bytes(content)
    with pytest.raises(InputError):
        read_picture(path)


def test_bytes_turned_over_never_do_more_than_be_refused(tmp_path):
    """A hundred damaged files: each is read or refused, nothing else."""
    rng = np.random.default_rng(1)
    path = tmp_path / "scan"
    for kind in ("PNG", "TIFF", "JPEG"):
        buffer = io.BytesIO()
        Image.fromarray(GREY).save(buffer, kind, dpi=(300, 300))
        whole = bytearray(buffer.getvalue())
        for _ in range(34):
            broken = bytearray(whole)
            for at in rng.integers(0, min(len(whole), 400), 6):
                broken[at] = int(rng.integers(0, 256))
            path.write_bytes(bytes(broken))
            try:
                assert read_picture(path).rgb.dtype == np.uint8
            except InputError as error:
                assert str(path) in str(error)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.png", tmp_path):
        with pytest.raises(InputError, match="no such file"):
            read_picture(path)


def test_a_file_without_resolution_asks_for_it_and_takes_it(tmp_path):
    path = tmp_path / "scan.png"
    Image.fromarray(GREY).save(path)
    with pytest.raises(InputError, match="--dpi 300"):
        read_picture(path)
    assert read_picture(path, 300).dpi == (300, 300)


@pytest.mark.parametrize("dpi", [0, 20, 1e9, float("nan")])
def test_a_resolution_that_cannot_be_meant_is_refused(tmp_path, dpi):
    with pytest.raises(InputError, match="dots per inch"):
        read_picture(saved(tmp_path, Image.fromarray(GREY)), dpi)


def test_a_screen_resolution_is_refused_because_editors_write_it_unasked(tmp_path):
    with pytest.raises(InputError, match="72 dots per inch"):
        read_picture(saved(tmp_path, Image.fromarray(GREY), dpi=(72, 72)))


def test_different_resolutions_each_way_are_kept(tmp_path):
    picture = read_picture(saved(tmp_path, Image.fromarray(GREY), "scan.tif", dpi=(300, 600)))
    assert picture.dpi == pytest.approx((300, 600), abs=0.01)
