"""Photos to send: noise, so that they stay large however they are pressed."""

from __future__ import annotations

import io
from typing import Any

from PIL import Image


def noise(width: int = 600, height: int = 450, **options: Any) -> bytes:
    """A JPEG; `options` go to Pillow's writer."""
    out = io.BytesIO()
    Image.effect_noise((width, height), 120).convert("RGB").save(out, "JPEG", quality=95, **options)
    return out.getvalue()


def plain(width: int, height: int) -> bytes:
    """Many pixels in few bytes."""
    out = io.BytesIO()
    Image.new("RGB", (width, height), (120, 110, 90)).save(out, "JPEG", quality=40)
    return out.getvalue()


def upright_by_its_tag(width: int, height: int) -> bytes:
    """Lies on its side and says so: orientation 6 of EXIF, and a place that is nobody's business."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0)}
    return noise(width, height, exif=exif)
