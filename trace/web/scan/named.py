"""What a scanned or typed code names: one of the shop's items, words to look for, or nothing of ours."""

from __future__ import annotations

import re

from flask import flash

from fillbook.trace.book import queries
from fillbook.trace.core import ids, keyboards
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.web import here

ADDRESS = re.compile(r"[a-z][a-z0-9+.-]*://|www\.", re.IGNORECASE)
LOOKS_LIKE_AN_ID = re.compile(r"[A-Za-z]{2}[-\s]?[A-Za-z][-\s]?[0-9OIl]{2}[-\s]?[0-9OIl]{5}.*", re.DOTALL)
LONGEST = 300


def said(text: str) -> str:
    """What was scanned or typed, without blanks around it. Raises Nonsense where that is nothing, or longer than any label."""
    text = text.strip()
    if not text:
        raise Nonsense(
            "Nothing was read: scan a label, or type an ID, a lot, a customer or a serial.", field="code"
        )
    if len(text) > LONGEST:
        raise Nonsense(
            f"That is {len(text)} characters long; no label of ours is. Scan it again.", field="code"
        )
    return text


def named(text: str, *, by_scanner: bool) -> tuple[str, bool] | None:
    """The item (compact ID) in *text*, and whether a scanner sent it; None where *text* holds only words to look for.

    Raises Nonsense where it is another place's address or an ID read wrong, UnknownItem where no such label was given out.
    """
    try:
        item = ids.read(text)
    except Nonsense as wrong:
        mixed = keyboards.meant(text, scanned=by_scanner)
        if mixed and queries.item_exists(here.book(), mixed.item):
            flash(keyboards_differ(mixed), "look")
            return mixed.item, True
        if ADDRESS.match(text):
            raise Nonsense(
                f"That is another place's address, and it is not followed: {text} - {_no_label(wrong)}"
            ) from None
        if LOOKS_LIKE_AN_ID.fullmatch(text):
            raise ids.in_letters_of(wrong, here.shop(), "F") from None
        return None
    if not queries.item_exists(here.book(), item):
        raise UnknownItem(
            f"{ids.pretty(item)} reads well, but no such label was given out in this book. Check that it is this shop's."
            + (f" The label says {text}." if ADDRESS.match(text) else ""),
            field="code",
        )
    return item, by_scanner  # an address may have been pasted


def keyboards_differ(mixed: keyboards.Meant) -> str:
    """The sentence for a label that was read although scanner and computer are set to different keyboards."""
    return (
        f"Read as {ids.pretty(mixed.item)}: this computer's keyboard is {mixed.computer}, the scanner is set to {mixed.scanner}. "
        "Set both to the same."
    )


def _no_label(wrong: Nonsense) -> str:
    """Why an address of a label's form could not be read; for any other, what was expected."""
    words = str(wrong)
    return words if "last character" in words else "scan one of this shop's labels, or type its ID."
