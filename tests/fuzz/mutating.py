"""Damage to bytes, of kinds that find what readers take on trust: lengths, counts, offsets, text, what is repeated."""

from __future__ import annotations

import random
import struct

NUMBERS = (0, 1, 2, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
FORMATS = ("<H", ">H", "<I", ">I", "B")
TOKENS = (
    b"\0",
    b"\n",
    b"\xff\xfe",
    b"nan",
    b"inf",
    b"-1",
    b"1e308",
    b"9" * 400,
    b"\xc2\xb2",
    b"../",
    b'"',
    b"[",
    b"=",
    b";",
)
MOST_CHANGES = 8


def mutated(data: bytes, rng: random.Random, other: bytes = b"") -> bytes:
    """The bytes with one to eight changes; `other` is a donor for pieces that are put in."""
    changed = bytearray(data)
    # headers decide most: half of the changes fall into the first 256 bytes
    for _ in range(rng.randint(1, MOST_CHANGES)):
        at = rng.randrange(max(1, len(changed) if rng.random() < 0.5 else min(len(changed), 256)))
        _change(changed, at, rng, other or data)
    return bytes(changed)


def _change(data: bytearray, at: int, rng: random.Random, other: bytes) -> None:
    """One change at one place."""
    length = min(1 << rng.randrange(10), len(data) - at)
    match rng.randrange(9):
        case 0:
            data[at : at + 1] = bytes([data[at] ^ 1 << rng.randrange(8)]) if data else b""
        case 1:
            data[at : at + length] = rng.randbytes(length)
        case 2:
            form = rng.choice(FORMATS)
            size = struct.calcsize(form)
            data[at : at + size] = struct.pack(form, rng.choice(NUMBERS) & (1 << 8 * size) - 1)
        case 3:
            del data[at : at + length]
        case 4:
            data[at:at] = data[at : at + length]
        case 5:
            data[at:at] = rng.choice(TOKENS)
        case 6:
            begin = rng.randrange(len(other) + 1)
            data[at : at + length] = other[begin : begin + length]
        case 7:
            del data[at:]
        case 8:
            data[at : at + length] = bytes(length)
