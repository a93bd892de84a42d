"""Pictures for tests, drawn here."""

from __future__ import annotations

import base64
import io
import struct
import zlib

from PIL import Image


def jpeg(width: int = 640, height: int = 480, colour: str = "steelblue", **save: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG", **save)
    return out.getvalue()


def located_jpeg() -> bytes:
    """Lies on its side (orientation 6), says where it was taken, and carries a comment."""
    picture = Image.new("RGB", (400, 200), "white")
    picture.paste("red", (0, 0, 40, 40))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 11.0)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif, comment=b"secret place")
    return out.getvalue()


def huge_png(width: int, height: int) -> bytes:
    """A few kB that unpack to width x height pixels."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    packer = zlib.compressobj(9)
    line = b"\0" * (1 + (width + 7) // 8)
    body = b"".join(packer.compress(line) for _ in range(height)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


# Made once with an encoder that is no dependency of the project: 96 x 64 on its side, white with a red quarter where it
# starts, "secret place" as its description.
HEIC = """
AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAaFtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAAADRpbG9jAA
AAAERAAAIAAQAAAAABxQABAAAAAAAAADIAAgAAAAAB9wABAAAAAAAAAD4AAAA4aWluZgAAAAAAAgAAABVpbmZlAgAAAAABAABodmMxAAAAABVp
bmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA4GlwcnAAAADAaXBjbwAAAHhodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGE
ABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQArQgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbqSSmubgIaDAgAAAMAyAAAAwAIQGIAAQAHRAHBcrAi
QAAAABNjb2xybmNseAABAA0ABoAAAAAUaXNwZQAAAAAAAABgAAAAQAAAABBwaXhpAAAAAAMICAgAAAAJaXJvdAMAAAAYaXBtYQAAAAAAAAABAA
EFgQIDBIUAAAAaaXJlZgAAAAAAAAAOY2RzYwACAAEAAQAAAHhtZGF0AAAALigBrxmA93yFN//3+Mf9fav+KYLtPhfkjkdnan9lyoAw5ePw1/8Z
2JfsmtE31hMAAAAGRXhpZgAATU0AKgAAAAgAAgEOAAIAAAANAAAAJgESAAMAAAABAAYAAAAAAABzZWNyZXQgcGxhY2UAAA==
"""


def heic() -> bytes:
    """A picture as newer phones take it (ISO/IEC 23008-12); upright it is 64 x 96, red at the top right."""
    return base64.b64decode(HEIC)
