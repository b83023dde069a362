"""Writes the type library of the add-in: which methods it has, in the file format that UNO programs read.

The layout was read off files made by unoidl-write, and a test compares both where that tool is installed. All numbers
are little-endian and four bytes long; a text that stood before is replaced by its place, with the highest bit set.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

MAGIC = b"UNOIDL\xff\x00"
MODULE, INTERFACE, DIRECTION_IN = 0, 5, 0
SEEN = 0x80000000
BASE = "com.sun.star.uno.XInterface"


@dataclass(frozen=True)
class Method:
    """One method: its name, the type of its answer, and (name, type) of each argument."""

    name: str
    gives: str
    takes: tuple[tuple[str, str], ...]


def type_library(module: str, interface: str, methods: Sequence[Method]) -> bytes:
    """A library with one module that holds one interface.

    >>> type_library("m", "XI", [Method("F", "any", (("a", "any"),))])[:8]
    b'UNOIDL\\xff\\x00'
    """
    made = _Library()
    payload = made.interface(methods)
    made.module(module, interface, payload)
    return bytes(made.content)


class _Library:
    """The bytes so far."""

    def __init__(self) -> None:
        self.content = bytearray(MAGIC + bytes(8))
        self.texts: dict[str, int] = {}

    def number(self, value: int) -> None:
        self.content += struct.pack("<I", value)

    def text(self, value: str) -> None:
        if value in self.texts:
            self.number(self.texts[value] | SEEN)
            return
        self.texts[value] = len(self.content)
        self.number(len(value))
        self.content += value.encode("ascii")

    def interface(self, methods: Sequence[Method]) -> int:
        """Write the interface; its place."""
        place = len(self.content)
        self.content.append(INTERFACE)
        self.number(1)  # one base
        self.text(BASE)
        self.number(0)  # no optional bases
        self.number(0)  # no attributes
        self.number(len(methods))
        for method in methods:
            self.text(method.name)
            self.text(method.gives)
            self.number(len(method.takes))
            for name, kind in method.takes:
                self.content.append(DIRECTION_IN)
                self.text(name)
                self.text(kind)
            self.number(0)  # no exceptions of its own
        return place

    def module(self, module: str, interface: str, payload: int) -> None:
        """Write the map of the module, then that of the file, and point the head to it."""
        inner = self._name(interface)
        place = len(self.content)
        self.content.append(MODULE)
        self.number(1)
        self.number(inner)
        self.number(payload)
        outer = self._name(module)
        root = len(self.content)
        self.number(outer)
        self.number(place)
        self.content[len(MAGIC) : len(MAGIC) + 8] = struct.pack("<II", root, 1)

    def _name(self, name: str) -> int:
        place = len(self.content)
        self.content += name.encode("ascii") + b"\0"
        return place
