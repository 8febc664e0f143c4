"""Pictures that say they are larger than what is in them."""

import struct
import zlib


def chunk(name, data):
    """One part of a PNG with its sum (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width, height, *more, data=b""):
    """A PNG that says it is so large, in true colour, and holds `data`; more: parts before the picture."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = (chunk(b"IHDR", head), *more, chunk(b"IDAT", zlib.compress(data, 9)), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)
