"""Pictures of every usual format are read upright and on white; broken ones get one plain sentence."""

import io
import os
import struct
import warnings
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from converter.errors import PictureError
from converter.files.picture import (
    LEAST_WIDTH_PX,
    PIXELS_PER_STITCH,
    load_picture,
    orient,
    picture_from_bytes,
    read_picture,
    scale_to_uint8,
)

STORED = np.array([[0, 1, 2], [3, 4, 5]], dtype=np.uint8)
SHOWN = {
    1: [[0, 1, 2], [3, 4, 5]],
    2: [[2, 1, 0], [5, 4, 3]],
    3: [[5, 4, 3], [2, 1, 0]],
    4: [[3, 4, 5], [0, 1, 2]],
    5: [[0, 3], [1, 4], [2, 5]],
    6: [[3, 0], [4, 1], [5, 2]],
    7: [[5, 2], [4, 1], [3, 0]],
    8: [[2, 5], [1, 4], [0, 3]],
}
"""CIPA DC-008 (Exif), tag 0x0112, as restated by jpegexiforient(1)."""


def encoded(array, kind, **options):
    stream = io.BytesIO()
    Image.fromarray(array).save(stream, format=kind, **options)
    return stream.getvalue()


def drawing(height=60, width=80):
    """A gray ramp with a black bar: no two corners alike."""
    ramp = np.linspace(120, 250, width, dtype=np.uint8)[None, :].repeat(height, axis=0).copy()
    ramp[5:15, 10:70] = 0
    return ramp


@pytest.mark.parametrize("orientation", SHOWN)
def test_exif_orientation_of_an_array(orientation):
    assert orient(STORED, orientation).tolist() == SHOWN[orientation]


@pytest.mark.parametrize("orientation", SHOWN)
@pytest.mark.parametrize("kind", ["PNG", "WEBP", "JPEG"])
def test_exif_orientation_of_a_file(orientation, kind):
    exif = Image.Exif()
    exif[0x0112] = orientation
    gray = drawing()
    colour = np.stack([gray] * 3, axis=2)
    data = encoded(colour, kind, exif=exif.tobytes(), **({"lossless": True} if kind == "WEBP" else {"quality": 95}))
    got = picture_from_bytes(data).pixels.astype(int)
    assert got.shape[:2] == orient(gray, orientation).shape
    assert np.abs(got[:, :, 0] - orient(gray, orientation)).mean() < 3


@pytest.mark.parametrize("orientation", SHOWN)
@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_deflate"])
def test_orientation_of_a_tiff(orientation, compression):
    data = encoded(drawing(), "TIFF", tiffinfo={0x0112: orientation}, compression=compression)
    assert np.array_equal(picture_from_bytes(data).pixels, orient(drawing(), orientation))


def test_reduced_jpeg_is_turned_after_reducing():
    exif = Image.Exif()
    exif[0x0112] = 6
    big = np.full((3000, 4200, 3), 255, dtype=np.uint8)
    big[:1500, :400] = 0
    small = picture_from_bytes(encoded(big, "JPEG", exif=exif.tobytes(), quality=90), columns=60)
    assert small.full_size == (3000, 4200)
    assert small.reduction >= 2
    height, width = small.pixels.shape[:2]
    assert height > width
    assert small.pixels[: height // 12, width * 2 // 3 :].mean() < 20


@pytest.mark.parametrize("columns", [10, 60, 100, 300])
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_reducing_leaves_enough_for_the_stitches(columns, kind):
    big = np.full((2600, 3500, 3), 230, dtype=np.uint8)
    big[::40] = 10
    picture = picture_from_bytes(encoded(big, kind), columns=columns)
    assert max(picture.pixels.shape) >= min(3500, max(LEAST_WIDTH_PX, PIXELS_PER_STITCH * columns))
    assert picture.pixels.shape[0] / picture.pixels.shape[1] == pytest.approx(2600 / 3500, rel=0.01)


@pytest.mark.parametrize(("mode", "kind"), [("P", "GIF"), ("P", "PNG"), ("1", "PNG"), ("CMYK", "TIFF")])
@pytest.mark.parametrize("size", [(2903, 1203), (1203, 4511), (3203, 3)])
def test_colours_mixed_strip_by_strip_are_those_of_the_whole(mode, kind, size):
    """A picture of a palette or of four inks becomes RGB in strips; the areas averaged are the same as in one piece."""
    rng = np.random.default_rng(4)
    image = Image.fromarray(rng.integers(0, 256, (*size[::-1], 3), dtype=np.uint8))
    image = image.quantize(64) if mode == "P" else image.convert(mode)
    data = io.BytesIO()
    image.save(data, kind)
    for columns in (10, 20):
        pixels = picture_from_bytes(data.getvalue(), "mixed", columns).pixels
        factor = round(max(size) / max(pixels.shape))
        whole = np.asarray(image.convert("L" if mode == "1" else "RGB"))
        height, width = (max(1, side // factor) * factor for side in whole.shape[:2])
        expected = cv2.resize(whole[:height, :width], pixels.shape[1::-1], interpolation=cv2.INTER_AREA)
        assert factor > 1
        assert np.array_equal(pixels, expected)


@pytest.mark.parametrize("mode", ["L", "RGB", "P", "1"])
def test_a_large_picture_of_a_few_rows_is_read(mode):
    """Fewer rows than are averaged into one."""
    data = io.BytesIO()
    Image.new("RGB", (9000, 3), "white").convert(mode).save(data, "PNG")
    pixels = picture_from_bytes(data.getvalue(), "ribbon", 10).pixels
    assert pixels.shape[:2] == (1, 1500)
    assert (pixels == 255).all()


def test_hairlines_survive_reducing_a_scan():
    big = np.full((3200, 4800), 255, dtype=np.uint8)
    big[:, 1000:1003] = 0
    picture = picture_from_bytes(encoded(big, "PNG"), columns=60)
    assert picture.reduction >= 3
    assert picture.pixels.min(axis=1).max() < 100


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF"])
def test_each_format_gives_the_drawing(kind):
    got = picture_from_bytes(encoded(drawing(), kind, **({"lossless": True} if kind == "WEBP" else {}))).pixels
    gray = got if got.ndim == 2 else got[:, :, 0]
    assert gray.dtype == np.uint8
    assert np.abs(gray.astype(int) - drawing()).mean() < 4


def test_heic():
    pillow_heif = pytest.importorskip("pillow_heif")
    pillow_heif.register_heif_opener()
    data = encoded(np.stack([drawing(64, 80)] * 3, axis=2), "HEIF", quality=90)
    assert np.abs(picture_from_bytes(data).pixels[:, :, 0].astype(int) - drawing(64, 80)).mean() < 6


class TestTraps:
    """What decoders do with unusual files, and what is done here instead."""

    def test_truncated_jpeg_is_refused_not_half_gray(self):
        noise = np.random.default_rng(1).integers(0, 255, (200, 300, 3), dtype=np.uint8)
        data = encoded(noise, "JPEG")
        for share in np.linspace(0.02, 0.98, 20):
            with pytest.raises(PictureError) as caught:
                picture_from_bytes(data[: int(len(data) * share)], "cup.jpg")
            assert "cup.jpg" in str(caught.value)

    @pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP", "BMP", "GIF"])
    def test_other_truncated_files_are_refused(self, kind):
        noise = np.random.default_rng(1).integers(0, 255, (60, 80, 3), dtype=np.uint8)
        data = encoded(noise, kind)
        for share in (0.1, 0.5, 0.9):
            with pytest.raises(PictureError):
                picture_from_bytes(data[: int(len(data) * share)], "cup")

    def test_huge_one_bit_png_is_refused_from_its_header(self):
        header = struct.pack(">IIBBBBB", 30_000, 30_000, 1, 0, 0, 0, 0)
        chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(bytes(1_000_000))), (b"IEND", b"")]
        data = b"".join(
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
            for kind, body in chunks
        )
        with pytest.raises(PictureError, match="30000 x 30000"):
            picture_from_bytes(b"\x89PNG\r\n\x1a\n" + data, "bomb.png")

    def test_16_bit_gray_keeps_its_tones(self):
        deep = drawing().astype(np.uint16) * 257
        assert np.array_equal(picture_from_bytes(encoded(deep, "PNG")).pixels, drawing())
        assert np.array_equal(picture_from_bytes(encoded(deep, "TIFF")).pixels, drawing())

    def test_16_bit_colour_tiff(self):
        cv2 = pytest.importorskip("cv2")
        deep = np.stack([drawing(), drawing() // 2, drawing() // 3], axis=2).astype(np.uint16) * 257
        data = cv2.imencode(".tif", deep)[1].tobytes()
        assert np.array_equal(picture_from_bytes(data).pixels, (deep // 257).astype(np.uint8)[:, :, ::-1])

    @pytest.mark.parametrize("big", [False, True])
    @pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32, np.float64])
    def test_colours_in_planes_of_their_own(self, kind, big):
        """TIFF 6.0, PlanarConfiguration 2, written by tifffile: read where they have 8 bits, else refused in words."""
        tifffile = pytest.importorskip("tifffile")
        colours = np.stack([drawing(), drawing() // 2, drawing() // 3])
        values = colours.astype(kind) if kind is np.uint8 else (colours / 255 * (65535 if kind is np.uint16 else 1))
        target = io.BytesIO()
        tifffile.imwrite(target, values.astype(kind), photometric="rgb", planarconfig="separate", bigtiff=big)
        if kind is np.uint8:
            assert np.array_equal(picture_from_bytes(target.getvalue()).pixels, np.moveaxis(colours, 0, 2))
        else:
            with pytest.raises(PictureError, match="plane of its own"):
                picture_from_bytes(target.getvalue())

    @pytest.mark.parametrize("scale", [1 / 255, 1.0, 1000.0])
    def test_float_tiff_keeps_its_tones(self, scale):
        got = picture_from_bytes(encoded((drawing() * scale).astype(np.float32), "TIFF")).pixels
        if scale > 1:
            assert got.min() == 0 and got.max() == 255
        else:
            assert np.abs(got.astype(int) - drawing()).max() <= 1

    def test_missing_values_are_paper(self):
        values = (drawing() / 255).astype(np.float32)
        values[30, 30] = np.nan
        assert picture_from_bytes(encoded(values, "TIFF")).pixels[30, 30] == 255

    def test_black_drawing_on_clear_ground(self):
        rgba = np.zeros((60, 80, 4), dtype=np.uint8)
        rgba[10:20, 10:70, 3] = 255
        got = picture_from_bytes(encoded(rgba, "PNG")).pixels
        assert got[0, 0].tolist() == [255, 255, 255]
        assert got[15, 15].tolist() == [0, 0, 0]

    @pytest.mark.parametrize(
        ("mode", "kind"), [("RGBA", "PNG"), ("RGBA", "WebP"), ("RGBA", "TIFF"), ("LA", "PNG"), ("P", "PNG")]
    )
    def test_white_drawing_on_clear_ground_is_drawn_dark(self, mode, kind):
        white = np.zeros((60, 80, 4), dtype=np.uint8)
        white[:, :, :3] = 255
        white[10:20, 10:70, 3] = 255
        image = Image.fromarray(white).convert(mode)
        if mode == "P":
            image = Image.fromarray(np.where(white[:, :, 3] > 0, 1, 0).astype(np.uint8), "P")
            image.putpalette([0, 0, 0, 255, 255, 255])
        stream = io.BytesIO()
        image.save(stream, format=kind, **({"transparency": 0} if mode == "P" else {}), lossless=True)
        got = picture_from_bytes(stream.getvalue()).pixels
        shape = 255 - white[:, :, 3]
        assert np.array_equal(got, shape if got.ndim == 2 else np.repeat(shape[:, :, None], 3, axis=2))

    def test_gray_with_alpha_and_palette_with_a_clear_colour(self):
        la = np.zeros((10, 10, 2), dtype=np.uint8)
        la[5:, :, 1] = 255
        stream = io.BytesIO()
        bands = [Image.fromarray(la[:, :, band].copy()) for band in (0, 1)]
        Image.merge("LA", bands).save(stream, format="PNG")
        got = picture_from_bytes(stream.getvalue()).pixels
        assert got[0, 0] == 255 and got[9, 9] == 0
        palette = Image.new("P", (10, 10), 1)
        palette.putpalette([0, 0, 0, 200, 30, 30])
        palette.paste(0, (0, 0, 5, 5))
        stream = io.BytesIO()
        palette.save(stream, format="PNG", transparency=0)
        got = picture_from_bytes(stream.getvalue()).pixels
        assert got[0, 0].tolist() == [255, 255, 255] and got[9, 9].tolist() == [200, 30, 30]

    @pytest.mark.parametrize("mode", ["CMYK", "YCbCr", "LAB", "P", "1"])
    def test_other_colour_models(self, mode):
        colour = Image.fromarray(np.stack([drawing()] * 3, axis=2))
        if mode == "LAB":
            from PIL import ImageCms

            image = ImageCms.profileToProfile(
                colour, ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), outputMode="LAB"
            )
        else:
            image = colour.convert(mode)
        stream = io.BytesIO()
        image.save(stream, format="PNG" if mode in ("P", "1") else "JPEG" if mode == "CMYK" else "TIFF")
        got = picture_from_bytes(stream.getvalue()).pixels
        gray = got if got.ndim == 2 else got[:, :, 0]
        assert gray[10, 40] < 40
        assert gray[30:, 60:].mean() > 150

    @pytest.mark.parametrize(
        ("data", "what"),
        [
            (b"", "empty"),
            (b"Dear diary", "text file"),
            (b"%PDF-1.7 ...", "PDF"),
            (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "SVG"),
            (b'<?xml version="1.0"?><svg/>', "SVG"),
            (b"PK\x03\x04....", "ZIP"),
            (b'{"format": "onecolour chart"}', "text file"),
            (b"P1 1 1 1", "PBM"),
            (b"\x00\x01\x02\x03" * 40, "not a picture that can be read"),
            (b"\xff\xd8\xff", "not a picture that can be read"),
            (b"GIF89a", "cup"),
            (b"BM\x00\x00", "cup"),
        ],
    )
    def test_no_picture_is_told_for_what_it_is(self, data, what):
        with pytest.raises(PictureError) as caught:
            picture_from_bytes(data, "cup")
        assert what in caught.value.message
        assert caught.value.hint

    def test_first_of_several_frames_is_said(self):
        frames = [Image.fromarray(drawing()), Image.fromarray(255 - drawing())]
        for kind in ("GIF", "TIFF", "WEBP", "PNG"):
            stream = io.BytesIO()
            frames[0].save(stream, format=kind, save_all=True, append_images=frames[1:])
            picture = picture_from_bytes(stream.getvalue())
            assert any("several pictures" in note for note in picture.notes), kind
            gray = picture.pixels if picture.pixels.ndim == 2 else picture.pixels[:, :, 0]
            assert gray[10, 40] < 60


def test_integer_ranges():
    assert scale_to_uint8(np.array([[0, 65535]], dtype=np.int32)).tolist() == [[0, 255]]
    assert scale_to_uint8(np.array([[0, 200]], dtype=np.int32)).tolist() == [[0, 200]]
    assert scale_to_uint8(np.array([[-5, 5]], dtype=np.int32)).tolist() == [[0, 255]]


def test_odd_colour_profile_does_no_harm():
    data = encoded(np.stack([drawing()] * 3, axis=2), "PNG", icc_profile=b"not a profile")
    assert picture_from_bytes(data).pixels.shape == (60, 80, 3)


def test_no_warning_reaches_her(tmp_path):
    (tmp_path / "cup.png").write_bytes(encoded(drawing(9000, 10_000), "PNG"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert load_picture(tmp_path / "cup.png", 60).shape[1] >= LEAST_WIDTH_PX


class TestPaths:
    """What a name can stand for."""

    def test_names_with_anything_in_them(self, tmp_path):
        for name in ("a b.png", 'it\'s "mine".png', "鳥 é.png", "x" * 200 + ".png", "picture.jpg", "noending"):
            (tmp_path / name).write_bytes(encoded(drawing(), "PNG"))
            assert load_picture(tmp_path / name).shape == (60, 80)

    def test_nothing_there(self, tmp_path):
        with pytest.raises(PictureError, match="no file"):
            load_picture(tmp_path / "none.png")
        with pytest.raises(PictureError):
            load_picture("a\0b.png")
        with pytest.raises(PictureError):
            load_picture(tmp_path / ("x" * 5000))

    def test_folder(self, tmp_path):
        with pytest.raises(PictureError, match="folder"):
            load_picture(tmp_path)

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
    def test_pipe_is_not_waited_for(self, tmp_path):
        os.mkfifo(tmp_path / "pipe.png")
        with pytest.raises(PictureError, match="ordinary"):
            read_picture(tmp_path / "pipe.png")


def test_big_tiff_with_an_impossible_offset():
    with pytest.raises(PictureError):
        picture_from_bytes(b"II+\0\x08\0\0\0" + b"\xff" * 24, "cup.tif")


@pytest.fixture(scope="module")
def scan():
    big = np.full((5000, 7000, 3), 240, dtype=np.uint8)
    big[500:700, 300:6500] = (200, 10, 10)
    return encoded(big, "PNG", compress_level=1)


class TestLargeScan:
    """A PNG of tens of megapixels is read in gray, row by row."""

    def test_it_shows_the_same(self, scan):
        picture = picture_from_bytes(scan, columns=100)
        assert picture.full_size == (7000, 5000)
        assert picture.pixels.ndim == 2
        height, width = picture.pixels.shape
        assert picture.pixels[height * 600 // 5000, width // 2] < 100 < picture.pixels[height // 2, width // 2]

    def test_it_is_turned_upright(self):
        exif = Image.Exif()
        exif[0x0112] = 6
        big = np.full((5000, 7000), 240, dtype=np.uint8)
        big[:1000, :1000] = 0
        picture = picture_from_bytes(encoded(big, "PNG", exif=exif.tobytes(), compress_level=1), columns=100)
        assert picture.full_size == (5000, 7000)
        assert picture.pixels[20, -20] == 0 and picture.pixels[20, 20] == 240

    def test_it_is_read_from_a_file_of_any_name(self, scan, tmp_path):
        for name in ("scan.png", "Häkeln.png"):
            (tmp_path / name).write_bytes(scan)
            assert np.array_equal(load_picture(tmp_path / name, 100), picture_from_bytes(scan, columns=100).pixels)

    def test_cut_or_spoiled_it_is_refused(self, scan):
        spoiled = bytearray(scan)
        spoiled[len(spoiled) // 2] ^= 255
        for data in (scan[: len(scan) // 2], scan[:-6], bytes(spoiled)):
            with pytest.raises(PictureError):
                picture_from_bytes(data, "scan", columns=100)
