"""Reads 32-bit little-endian ELF files: what is loaded where, and which symbols lie there."""

from __future__ import annotations

import struct
from dataclasses import dataclass

_SYMBOL_TABLE, _ALLOCATED, _EMPTY = 2, 2, 8
_FUNCTION, _OBJECT, _NO_TYPE = 2, 1, 0
_UNDEFINED, _ABSOLUTE = 0, 0xFFF1


@dataclass(frozen=True, slots=True)
class Section:
    name: str
    kind: int
    flags: int
    address: int
    content: bytes
    size: int
    link: int

    @property
    def is_loaded(self) -> bool:
        return bool(self.flags & _ALLOCATED) and self.size > 0


@dataclass(frozen=True, slots=True)
class Symbol:
    name: str
    address: int
    size: int
    is_function: bool
    section: str


class ElfFile:
    """Sections and defined symbols of an object or an image.

    Raises:
        ValueError: the bytes are no such file.
    """

    def __init__(self, content: bytes) -> None:
        if content[:7] != b"\x7fELF\x01\x01\x01":
            raise ValueError("no 32-bit little-endian ELF file")
        self._content = content
        start, size, count, names = struct.unpack_from("<I10xHHH", content, 32)
        heads = [struct.unpack_from("<10I", content, start + k * size) for k in range(count)]
        text = self._part(heads[names][4], heads[names][5])
        self.sections = [
            Section(
                name=_text_at(text, head[0]),
                kind=head[1],
                flags=head[2],
                address=head[3],
                content=b"" if head[1] == _EMPTY else self._part(head[4], head[5]),
                size=head[5],
                link=head[6],
            )
            for head in heads
        ]
        self.symbols = [
            symbol
            for table in self.sections
            if table.kind == _SYMBOL_TABLE
            for symbol in self._symbols(table)
        ]

    def address(self, name: str) -> int:
        """Return the address of a symbol; KeyError if there is none."""
        for symbol in self.symbols:
            if symbol.name == name:
                return symbol.address
        raise KeyError(name)

    def _part(self, start: int, size: int) -> bytes:
        return self._content[start : start + size]

    def _symbols(self, table: Section) -> list[Symbol]:
        names = self.sections[table.link].content
        found = []
        for name, value, size, info, place in struct.iter_unpack("<IIIBxH", table.content):
            if info & 15 in (_FUNCTION, _OBJECT, _NO_TYPE) and _UNDEFINED < place < _ABSOLUTE:
                found.append(
                    Symbol(
                        name=_text_at(names, name),
                        # In Thumb code the lowest bit of an address says which instruction set.
                        address=value & ~1 if info & 15 == _FUNCTION else value,
                        size=size,
                        is_function=info & 15 == _FUNCTION,
                        section=self.sections[place].name,
                    )
                )
        return found


def _text_at(table: bytes, start: int) -> str:
    return table[start : table.index(b"\0", start)].decode("ascii", "replace")
