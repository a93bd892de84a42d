"""Pictures, the only user of Pillow: checked, turned upright, made anew, so that nothing but the picture is kept."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import pi_heif
from PIL import Image, ImageOps

from jobs.files.errors import NotAPicture
from jobs.files.trade import LARGE_PX, MAX_PIXELS, PICTURES, SMALL_PX

Image.MAX_IMAGE_PIXELS = MAX_PIXELS
warnings.simplefilter("error", Image.DecompressionBombWarning)
# Decodes what newer phones take; it cannot write. Pillow asks it only for the kinds that are named below.
pi_heif.register_heif_opener(thumbnails=False)

BROKEN = "This photo cannot be read. Take it again."
TOO_MANY = "This photo has too many pixels to be kept. Take it again with the phone's usual camera setting."


@dataclass(frozen=True)
class Picture:
    """Two renditions of one photo as JPEG, without any metadata."""

    large: bytes
    small: bytes
    width: int
    height: int


def picture(data: bytes) -> Picture:
    """The photo as it is kept. Raises `NotAPicture` for anything that is not a plain JPEG, PNG, WebP or HEIC."""
    try:
        with Image.open(io.BytesIO(data), formats=tuple(PICTURES.values())) as opened:
            if opened.width * opened.height > MAX_PIXELS:
                raise NotAPicture(TOO_MANY)
            opened.draft("RGB", (LARGE_PX, LARGE_PX))
            upright = _plain(ImageOps.exif_transpose(opened))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise NotAPicture(TOO_MANY) from error
    except (OSError, ValueError, SyntaxError, EOFError, MemoryError, RuntimeError) as error:
        raise NotAPicture(BROKEN) from error
    upright.thumbnail((LARGE_PX, LARGE_PX))
    large = _jpeg(upright, quality=80)
    width, height = upright.size
    upright.thumbnail((SMALL_PX, SMALL_PX))
    return Picture(large, _jpeg(upright, quality=78), width, height)


def _plain(image: Image.Image) -> Image.Image:
    """Pixels on white in a new picture: comments, profiles and places stay behind."""
    clean = Image.new("RGB", image.size, "white")
    if image.mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        layer = image.convert("RGBA")
        clean.paste(layer, mask=layer.getchannel("A"))
    else:
        clean.paste(image.convert("RGB"))
    return clean


def _jpeg(image: Image.Image, *, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
