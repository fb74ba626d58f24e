"""Sentences of an NMEA 0183 log as bytes: encoding, line ends, framing and checksums; nothing of what they say.

A sentence runs from ``$`` (or ``!``) to ``*`` and two hex digits, the exclusive-or of the bytes between the two
(NMEA 0183; "NMEA Revealed", gpsd). Junk before it, and several sentences on a line, are common in real logs.
"""
from __future__ import annotations

import re
from typing import Any, NamedTuple

import numpy as np

__all__ = ["Framed", "frame", "looks_like_nmea", "plain_bytes"]

_DOLLAR, _BANG, _STAR, _COMMA, _LF, _CR = (ord(c) for c in "$!*,\n\r")
_PROPRIETARY = ord("P")
_BLOCK = 1 << 22
_PAD = 8

_SENTENCE = re.compile(rb"[$!][A-Z0-9]{5},")

_HEX = np.full(256, 16, np.uint8)
for _digit in "0123456789abcdefABCDEF":
    _HEX[ord(_digit)] = int(_digit, 16)
_ALNUM = np.zeros(256, bool)
for _char in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ":
    _ALNUM[ord(_char)] = True

WRONG_CHECKSUM = "sentences with a wrong checksum"
CUT_SHORT = "sentences cut short, without the checksum that others of their kind carry"


class Framed(NamedTuple):
    """Sentences of the wanted types, in the order of the log.

    ``texts``: iterator of str, from the talker to before ``*``; ``lines``: (n,) int, line of each, from 1;
    ``total``: sentences of any type with a right checksum; ``bare``: accepted ones that carry no checksum.
    """

    texts: Any
    lines: np.ndarray
    total: int
    bare: int


def plain_bytes(data):
    """Bytes of a file in one of the encodings loggers use -> single-byte text, what is not Latin-1 as ``?``.

    UTF-16 is known by its byte order mark or by the zero bytes that ASCII text has in it.

    Examples
    --------
    >>> from athwart.io.sentences import plain_bytes
    >>> plain_bytes("$GPGLL".encode("utf-16"))
    b'$GPGLL'
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace").encode("latin-1", "replace")
    if data[:3] == b"\xef\xbb\xbf":
        return data[3:]
    sample = data[:4096]
    half = len(sample) // 2
    for codec, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[::2])):
        if half and zeros.count(0) > 0.8 * half:
            return data.decode(codec, "replace").encode("latin-1", "replace")
    return data


def looks_like_nmea(data):
    """True if the bytes hold at least one ``$`` or ``!``, a talker, a type and a comma.

    Examples
    --------
    >>> from athwart.io.sentences import looks_like_nmea
    >>> looks_like_nmea(b"$GPGLL,4436.0,N,07000.0,W*00"), looks_like_nmea(b"lat,lon")
    (True, False)
    """
    return _SENTENCE.search(data) is not None


def frame(data, types, name, tally):
    """Find the sentences of some types.

    A sentence whose checksum is wrong is refused. One without a checksum is accepted only if no sentence of the same
    talker and type in this log carries one (old instruments never send any); otherwise it was cut short.

    Parameters
    ----------
    data : bytes
        As ``plain_bytes`` gives them.
    types : sequence of str
        Wanted types, three letters each, whoever the talker is.
    name : str
        Of the file, for ``tally``.
    tally : Rejections
        Takes what is refused.

    Returns
    -------
    Framed
    """
    wanted = np.array([_code(np.frombuffer(kind.encode("ascii"), np.uint8)) for kind in types])
    found, bare, total, first_line = [], [], 0, 1
    for start, stop in _blocks(data):
        block = _Block(data[start:stop])
        good = block.checked(name, first_line, tally)
        total += len(good)
        found.append(block.rows(good, wanted, start, first_line))
        bare.append(block.rows(block.unchecked(), wanted, start, first_line))
        first_line += len(block.ends)
    found, bare = np.concatenate(found or [_NONE]), np.concatenate(bare or [_NONE])
    bare = _without_cut_ones(data, found, bare, name, tally)
    rows = np.concatenate([found, bare])
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    texts = (data[a:b].decode("latin-1") for a, b in zip(rows[:, 0].tolist(), rows[:, 1].tolist()))
    return Framed(texts, rows[:, 2], total, len(bare))


_NONE = np.empty((0, 4), np.int64)


def _without_cut_ones(data, found, bare, name, tally):
    """Of sentences without a checksum, those of a talker and type that never has one and that are whole."""
    whole = ~np.isin(bare[:, 3], found[:, 3])
    if len(data) and data[-1] not in (_LF, _CR):
        whole &= bare[:, 1] < len(data)
    for row in np.flatnonzero(whole):
        whole[row] = b"*" not in data[bare[row, 0]:bare[row, 1]]
    tally.add(CUT_SHORT, name, bare[~whole, 2])
    return bare[whole]


def _blocks(data):
    """(start, stop) of blocks of a few megabytes that end with a line end, but for the last."""
    start = 0
    while start < len(data):
        stop, size = 0, _BLOCK
        while stop <= start:
            end = start + size
            if end >= len(data):
                stop = len(data)
                break
            stop = max(data.rfind(b"\n", start, end), data.rfind(b"\r", start, end)) + 1
            size *= 2
        if data[stop - 1] == _CR and data[stop:stop + 1] == b"\n":
            stop += 1
        yield start, stop
        start = stop


def _code(address):
    """(..., k) bytes -> one int for each, to compare."""
    return np.asarray(address, np.int64) @ (256 ** np.arange(address.shape[-1], dtype=np.int64))


class _Block:
    """A piece of a log that ends with a line end: where sentences may begin and end."""

    def __init__(self, data):
        self.size = len(data)
        self.bytes = np.frombuffer(data + bytes(_PAD), np.uint8)
        body, following = self.bytes[:self.size], self.bytes[1:self.size + 1]
        self.ends = np.flatnonzero((body == _LF) | ((body == _CR) & (following != _LF)))
        self.begins = np.flatnonzero((body == _DOLLAR) | (body == _BANG))
        stars = np.flatnonzero(body == _STAR)
        high, low = _HEX[self.bytes[stars + 1]], _HEX[self.bytes[stars + 2]]
        real = (high < 16) & (low < 16)
        self.stars = stars[real]
        self.printed = (high[real] << 4) | low[real]
        # the exclusive-or of any stretch is that of two running values
        self.running = np.bitwise_xor.accumulate(body)
        self.addressed = _ALNUM[self._letters(self.begins, 1, 6)].all(axis=1) & (self.bytes[self.begins + 6] == _COMMA)

    def _letters(self, begins, first, stop):
        return self.bytes[begins[:, None] + np.arange(first, stop)]

    def line_of(self, places):
        return np.searchsorted(self.ends, places)

    def checked(self, name, first_line, tally):
        """(k, 2) begin and star of every sentence with a right checksum; wrong ones go to the tally."""
        line = self.line_of(self.stars)
        line_start = np.concatenate([[0], self.ends + 1])[line]
        after_last = np.concatenate([[0], self.stars + 3])[:-1]
        first = np.searchsorted(self.begins, np.maximum(line_start, after_last))
        last = np.searchsorted(self.begins, self.stars)
        known = np.flatnonzero(first < last)
        first, last, star, printed = first[known], last[known], self.stars[known], self.printed[known]
        begin = self.begins[first] if len(known) else first
        match = (self.running[star - 1] ^ self.running[begin] == printed) & self.addressed[first]
        for k in np.flatnonzero(~match):
            # a '$' in the junk before the sentence, or a sentence cut off by the next one
            tried = np.arange(first[k], last[k])
            right = tried[self.running[star[k] - 1] ^ self.running[self.begins[tried]] == printed[k]]
            if len(right):
                begin[k] = self.begins[right[np.argmax(self.addressed[right])]]
                match[k] = True
        tally.add(WRONG_CHECKSUM, name, first_line + line[known][~match])
        return np.column_stack([begin, star])[match]

    def unchecked(self):
        """(k, 2) begin and end of what looks like a sentence and has no checksum on its line."""
        line = self.line_of(self.begins)
        next_star = np.concatenate([self.stars, [self.size]])[np.searchsorted(self.stars, self.begins)]
        line_end = np.concatenate([self.ends, [self.size]])[line]
        stop = np.minimum(line_end, np.concatenate([self.begins[1:], [self.size]]))
        stop -= (self.bytes[stop - 1] == _CR) & (stop > self.begins)
        keep = self.addressed & (next_star >= line_end)
        return np.column_stack([self.begins, stop])[keep]

    def rows(self, spans, wanted, offset, first_line):
        """(k, 4) start of the text, its end, line, and code of talker and type, for spans of the wanted types.

        Sentences that begin with P are a maker's own, whatever letters follow.
        """
        begins = spans[:, 0]
        spans = spans[np.isin(_code(self._letters(begins, 3, 6)), wanted)
                      & (self.bytes[begins + 1] != _PROPRIETARY) & (self.bytes[begins + 6] == _COMMA)]
        begins = spans[:, 0]
        return np.column_stack([begins + 1 + offset, spans[:, 1] + offset, self.line_of(begins) + first_line,
                                _code(self._letters(begins, 1, 6))])
