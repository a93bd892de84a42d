"""Small drawn pictures that stand for photos in the demo. Invented, and plain to see as such."""

from __future__ import annotations

import hashlib
import struct
import zlib

import numpy as np
from numpy.typing import NDArray

SIZE = (480, 640)  # height, width
EARTH, SAND, PIPE, SKY, STEEL, PAPER = (
    (96, 74, 52), (206, 184, 132), (24, 26, 30), (196, 210, 218), (138, 146, 150), (240, 238, 230),
)  # fmt: skip


def picture(name: str) -> bytes:
    """A PNG whose look follows from its name: a trench with pipe, or a plate with a dial. Same name, same bytes."""
    seed = int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big")
    rng = np.random.default_rng(seed)
    canvas = _plate(rng) if "label" in name or "plant" in name else _trench(rng)
    noise = np.kron(rng.integers(-7, 8, size=(SIZE[0] // 8, SIZE[1] // 8)), np.ones((8, 8), dtype=np.int64))[:, :, None]
    return _png(np.clip(canvas + noise, 0, 255).astype(np.uint8))


def _blank(colour: tuple[int, int, int]) -> NDArray[np.int64]:
    return np.full((*SIZE, 3), colour, dtype=np.int64)


def _trench(rng: np.random.Generator) -> NDArray[np.int64]:
    canvas = _blank(EARTH)
    canvas[: 60 + int(rng.integers(0, 40))] = SKY
    rows = np.arange(SIZE[0])[:, None]
    columns = np.arange(SIZE[1])[None, :]
    half = 60 + rows * 0.35
    bed = (np.abs(columns - 320) < half) & (rows > 110)
    canvas[bed] = SAND
    for offset in (-34, 34):
        line = 320 + offset * (0.4 + rows / 480) + 6 * np.sin(rows / (30 + int(rng.integers(0, 20))))
        canvas[(np.abs(columns - line) < 4 + rows / 90) & (rows > 112)] = PIPE
    return canvas


def _plate(rng: np.random.Generator) -> NDArray[np.int64]:
    canvas = _blank(STEEL)
    rows, columns = np.ogrid[: SIZE[0], : SIZE[1]]
    away = np.hypot(rows - 240, columns - 320)
    canvas[away < 180] = PAPER
    canvas[(away < 180) & (away > 170)] = PIPE
    turn = float(rng.uniform(-2.2, 2.2))
    along = (columns - 320) * np.sin(turn) - (rows - 240) * np.cos(turn)
    across = (columns - 320) * np.cos(turn) + (rows - 240) * np.sin(turn)
    canvas[(np.abs(across) < 4) & (along > -20) & (along < 150)] = PIPE
    return canvas


def _png(pixels: NDArray[np.uint8]) -> bytes:
    """The pixels as PNG (ISO/IEC 15948), truecolour, no filter."""
    height, width, _ = pixels.shape
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(rows, 6)) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
