"""Labels as the browser gets them: drawn from the book's facts, and read back before they are handed out."""

from __future__ import annotations

from collections.abc import Sequence

from fillbook.labels import proof
from fillbook.labels.faces import Label, make_label
from fillbook.labels.layout import notes
from fillbook.trace.book.label_facts import chosen_face, label_facts
from fillbook.trace.book.opening import Book


def labels_for(book: Book, items: Sequence[str]) -> list[Label]:
    """The labels of *items* (compact IDs) with the facts the book has now."""
    made = []
    for item in items:
        face, host, facts = label_facts(book, item)
        made.append(make_label(face, item, host, facts, chosen_face(book, item)))
    return made


def labels_pdf(book: Book, items: Sequence[str]) -> bytes:
    """One page per label side, its size the label's; raises Nonsense naming the first label whose symbols don't read back."""
    return proof.made(labels_for(book, items))


def warnings(book: Book, items: Sequence[str]) -> list[str]:
    """What whoever prints these should know beforehand: values cut short, letters replaced."""
    return notes(labels_for(book, items))
