"""The program's mark, a drop that is half warm and half cold, drawn by code at the sizes that a web add-in wants."""

from __future__ import annotations

import functools
import struct
import zlib
from typing import Any

import numpy as np

SIZES = (16, 32, 64, 80, 128)
WARM, COLD = (196, 86, 42), (38, 104, 166)
FINER = 8  # samples of a pixel in each direction
TIP, CENTRE, RADIUS = 0.04, 0.64, 0.32  # of the drop, in shares of the picture


@functools.cache
def drop(size: int) -> bytes:
    """The mark as a PNG picture with a clear ground.

    >>> drop(16)[:4]
    b'\\x89PNG'
    """
    steps = (np.arange(size * FINER) + 0.5) / (size * FINER)
    across, down = np.meshgrid(steps - 0.5, steps)
    inside = _inside(across, down).reshape(size, FINER, size, FINER)
    cover = inside.mean(axis=(1, 3))
    warm = (inside & (across < 0).reshape(inside.shape)).sum(axis=(1, 3)) / np.maximum(inside.sum(axis=(1, 3)), 1)
    colour = warm[..., None] * np.array(WARM) + (1 - warm[..., None]) * np.array(COLD)
    pixels = np.dstack([colour.round(), (cover * 255).round()]).astype(np.uint8)
    return _png(pixels)


def _inside(across: Any, down: Any) -> Any:
    """A circle, and above it the two lines from the tip that touch the circle."""
    circle = across**2 + (down - CENTRE) ** 2 <= RADIUS**2
    height = CENTRE - TIP
    slope = RADIUS / np.sqrt(height**2 - RADIUS**2)
    touch = CENTRE - RADIUS**2 / height
    return circle | ((down >= TIP) & (down <= touch) & (abs(across) <= (down - TIP) * slope))


def _png(pixels: Any) -> bytes:
    height, width = pixels.shape[:2]
    rows = b"".join(b"\0" + row.tobytes() for row in pixels)  # no filter
    header = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", zlib.compress(rows, 9)) + _chunk(b"IEND", b"")
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
