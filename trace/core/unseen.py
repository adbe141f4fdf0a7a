"""Characters that nobody sees. They come along where a lot or a name is copied from a letter or a web page, and two words that look
the same on every label would be two: a recall of the one would miss the other."""

from __future__ import annotations

#: Soft hyphen, blanks without width, joins and marks of direction, invisible signs, marks around notes, tags.
_NOTHING = (
    "\u00ad\u034f\u061c\u180e\u200b\u200e\u200f\u202a\u202b\u202c\u2060\u2061\u2062\u2063\u2064\ufeff\ufff9\ufffa\ufffb"
    + "".join(map(chr, (*range(0x2066, 0x2070), *range(0xE0000, 0xE0080))))
)
#: Blanks of other widths.
_BLANKS = "\u00a0\u1680\u202f\u205f\u3000" + "".join(map(chr, range(0x2000, 0x200B)))
_AS_SEEN = dict.fromkeys(map(ord, _NOTHING)) | dict.fromkeys(map(ord, _BLANKS), " ")
_JOINERS = "\u200c\u200d"  # between letters that join they change what is seen; after others they are nothing


def as_seen(text: str) -> str:
    r"""*text* without the characters that show nothing, and with blanks for blanks of any width.

    >>> as_seen("A\u200b-77\u200f"), as_seen("A\u00a077"), as_seen("A\u200d-77")
    ('A-77', 'A 77', 'A-77')
    """
    if text.isascii():
        return text
    text = text.translate(_AS_SEEN)
    return "".join(c for n, c in enumerate(text) if c not in _JOINERS or (n and not text[n - 1].isascii()))
