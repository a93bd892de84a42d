from __future__ import annotations

import io
import time

import pytest
from PIL import Image

from jobs.files import images
from jobs.files.errors import NotAPicture
from tests.files import pictures


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def test_two_renditions_no_larger_than_said() -> None:
    made = images.picture(pictures.jpeg(4000, 3000))
    assert opened(made.large).size == (1600, 1200) == (made.width, made.height)
    assert opened(made.small).size == (1000, 750)
    assert opened(made.large).format == opened(made.small).format == "JPEG"


def test_a_small_picture_is_not_blown_up() -> None:
    assert opened(images.picture(pictures.jpeg(320, 200)).large).size == (320, 200)


def test_stands_upright_and_tells_no_place_and_no_comment() -> None:
    made = images.picture(pictures.located_jpeg())
    for data in (made.large, made.small):
        picture = opened(data)
        assert picture.size == (200, 400)
        # Orientation 6 is a quarter turn clockwise: what was top left is top right.
        red, green, _ = picture.getpixel((190, 10))  # type: ignore[misc]
        assert red > 200
        assert green < 60
        assert not picture.getexif()
        assert b"secret place" not in data
        assert b"Exif" not in data


def test_heic_becomes_an_upright_jpeg_that_tells_no_place() -> None:
    data = pictures.heic()
    assert b"secret place" in data
    made = images.picture(data)
    picture = opened(made.large)
    assert (picture.format, picture.size) == ("JPEG", (64, 96))
    red, green, _ = picture.getpixel((55, 8))  # type: ignore[misc]
    assert red > 150
    assert green < 90
    assert picture.getpixel((8, 8)) > (240, 240, 240)  # type: ignore[operator]
    assert not picture.getexif()
    assert b"secret place" not in made.large + made.small


@pytest.mark.parametrize("cut", [30, 200, 400, 560])
def test_a_heic_that_was_cut_is_refused(cut: int) -> None:
    with pytest.raises(NotAPicture, match="Take it again"):
        images.picture(pictures.heic()[:cut])


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_a_heic_that_claims_too_many_pixels_is_refused() -> None:
    """Its size stands in `ispe`, the extent of ISO/IEC 23008-12, 6.5.3: two numbers of four octets after its version."""
    data = bytearray(pictures.heic())
    at = data.index(b"ispe") + 8
    data[at : at + 8] = (60_000).to_bytes(4, "big") * 2
    began = time.process_time()
    with pytest.raises(NotAPicture):
        images.picture(bytes(data))
    assert time.process_time() - began < 0.5


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_become_jpeg_on_white(kind: str) -> None:
    out = io.BytesIO()
    Image.new("RGBA", (50, 50), (255, 0, 0, 0)).save(out, kind)
    made = opened(images.picture(out.getvalue()).large)
    assert made.format == "JPEG"
    assert made.getpixel((25, 25)) == (255, 255, 255)


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize(("width", "height"), [(9000, 9000), (20000, 10000)])
def test_a_bomb_is_refused_before_it_is_unpacked(width: int, height: int) -> None:
    bomb = pictures.huge_png(width, height)
    assert len(bomb) < 200_000
    began = time.process_time()
    with pytest.raises(NotAPicture, match="too many pixels"):
        images.picture(bomb)
    assert time.process_time() - began < 0.5


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<html><script>1</script></html>",
        b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n",
        pictures.jpeg()[:300],
        b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
    ],
    ids=["empty", "svg", "html", "eps", "cut", "broken"],
)
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(NotAPicture):
        images.picture(data)


def test_a_gif_is_refused_though_pillow_can_read_it() -> None:
    out = io.BytesIO()
    Image.new("P", (10, 10)).save(out, "GIF")
    with pytest.raises(NotAPicture):
        images.picture(out.getvalue())


def test_a_script_behind_the_picture_is_not_kept() -> None:
    made = images.picture(pictures.jpeg() + b"<script>alert(1)</script>")
    assert b"<script" not in made.large
    assert b"<script" not in made.small
