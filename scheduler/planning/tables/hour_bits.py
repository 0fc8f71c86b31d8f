"""Hours as bits: masks packed 64 hours to a word, and counting and finding in them.

A mask of 600 scenarios and 90 days is 1.3 MB as truth values and 0.16 MB as bits. Unbroken spans
are found by shifting and masking whole words; where the n-th set hour stands, by a running count
of each word's bits (rank and select; Jacobson 1989, "Space-efficient static trees and graphs").

A row ends in at least one clear bit, so that nothing runs from one row into the next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.uint64]
Positions = NDArray[np.int64]

WORD: Final = 64
_BYTE: Final = 8


def packed(mask: NDArray[np.bool_]) -> Words:
    """Return a mask ``(..., hours)`` as words ``(..., hours // 64 + 1)``, hour 0 lowest."""
    hours = mask.shape[-1]
    octets = np.zeros((*mask.shape[:-1], (hours // WORD + 1) * _BYTE), dtype=np.uint8)
    octets[..., : -(-hours // _BYTE)] = np.packbits(mask, axis=-1, bitorder="little")
    return octets.view(np.dtype("<u8")).astype(np.uint64, copy=False)


def unpacked(words: Words, hours: int) -> NDArray[np.bool_]:
    """Return words as a mask ``(..., hours)``."""
    octets = np.ascontiguousarray(words.astype(np.dtype("<u8"), copy=False)).view(np.uint8)
    return np.unpackbits(octets, axis=-1, count=hours, bitorder="little").view(np.bool_)


def unbroken(words: Words, hours: int) -> Words:
    """Return the hours from which so many on end are set, the hour itself the first of them."""
    found, width = words, 1
    while width < hours:
        step = min(width, hours - width)
        found = found & _ahead(found, step)
        width += step
    return found


def spread(words: Words, hours: int) -> Words:
    """Return each set hour and those after it, so many in all: `unbroken` undone."""
    found, width = words, 1
    while width < hours:
        step = min(width, hours - width)
        found = found | later(found, step)
        width += step
    return found


def later(words: Words, hours: int) -> Words:
    """Return every set hour so many later. None may leave its row."""
    flat, (skip, rest) = words.reshape(-1), divmod(hours, WORD)
    out = np.zeros_like(flat)
    left = flat.size - skip
    if left > 0:
        out[skip:] = flat[:left] << np.uint64(rest)
    if rest and left > 1:
        out[skip + 1 :] |= flat[: left - 1] >> np.uint64(WORD - rest)
    return out.reshape(words.shape)


def _ahead(words: Words, hours: int) -> Words:
    """Return at each hour what stands so many hours after it, in the next row too."""
    flat, (skip, rest) = words.reshape(-1), divmod(hours, WORD)
    out = np.zeros_like(flat)
    left = flat.size - skip
    if left > 0:
        out[:left] = flat[skip:] >> np.uint64(rest)
    if rest and left > 1:
        out[: left - 1] |= flat[skip + 1 :] << np.uint64(WORD - rest)
    return out.reshape(words.shape)


@dataclass(frozen=True, slots=True)
class Counted:
    """Words with a running count of their bits. A position is word * 64 + bit."""

    words: Words  # (words,)
    before: NDArray[np.int32]  # (words + 1,) set bits in the words before this one

    @classmethod
    def of(cls, words: Words) -> Counted:
        """Return words of any shape, one behind the other, counted."""
        flat = words.reshape(-1)
        before = np.zeros(flat.size + 1, dtype=np.int32)
        np.cumsum(np.bitwise_count(flat), out=before[1:])
        return cls(flat, before)

    def count(self, position: Positions) -> Positions:
        """Return how many set bits stand before each position."""
        word, bit = position // WORD, (position % WORD).astype(np.uint64)
        below = self.words[word] & ((np.uint64(1) << bit) - np.uint64(1))
        return self.before[word].astype(np.int64) + np.bitwise_count(below)

    def place(self, number: Positions) -> Positions:
        """Return where the set bit stands that has so many before it; past all words for none."""
        word = np.searchsorted(self.before, number.astype(np.int32), side="right") - 1
        held = np.minimum(word, self.words.size - 1)
        bits, left = self.words[held], number - self.before[held]
        bit = np.zeros(number.shape, dtype=np.int64)
        for half in (32, 16, 8):
            low = np.bitwise_count(bits & np.uint64(2**half - 1)).astype(np.int64)
            up = left >= low
            left = left - low * up
            bit += half * up
            bits = bits >> (up * np.uint64(half))
        octet = (bits & np.uint64(255)).astype(np.int64)
        bit += _PLACE_IN_BYTE[octet, np.minimum(left, _BYTE - 1)]
        return np.where(word < self.words.size, held * WORD + bit, self.words.size * WORD)


def _places_in_byte() -> NDArray[np.int64]:
    table = np.zeros((256, _BYTE), dtype=np.int64)
    for octet in range(256):
        places = [bit for bit in range(_BYTE) if octet >> bit & 1]
        table[octet, : len(places)] = places
    return table


_PLACE_IN_BYTE: Final = _places_in_byte()  # [byte, number]: where its set bit of that number is
