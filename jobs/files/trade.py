"""How large a photo and its pieces may be, and which kinds of picture are taken."""

from __future__ import annotations

from typing import Final

MAX_BYTES: Final = 25 * 1024 * 1024
MAX_PIECE: Final = 256 * 1024
PICTURES: Final = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP", "image/heic": "HEIF"}
MAX_PIXELS: Final = 64_000_000
LARGE_PX: Final = 1600
SMALL_PX: Final = 1000
PHOTO: Final = "photo"
SMALL: Final = "photo-small"
