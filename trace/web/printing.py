"""Labels as the browser gets them: drawn from the book's facts, and read back before they are handed out."""

from __future__ import annotations

from collections.abc import Sequence

from fillbook.labels import pdf, proof
from fillbook.labels.faces import Label
from fillbook.labels.layout import notes
from fillbook.trace.book.label_facts import label_facts
from fillbook.trace.book.opening import Book


def labels_for(book: Book, items: Sequence[str]) -> list[Label]:
    """The labels of *items* (compact IDs) with the facts the book has now."""
    made = []
    for item in items:
        face, host, facts = label_facts(book, item)
        made.append(Label(face, item, host, facts))
    return made


def labels_pdf(book: Book, items: Sequence[str]) -> bytes:
    """One page per label side, its size the label's; raises Nonsense naming the first label whose symbols don't read back."""
    labels = labels_for(book, items)
    made = pdf.make_pdf(labels)
    proof.proofread(made, labels)
    return made


def warnings(book: Book, items: Sequence[str]) -> list[str]:
    """What whoever prints these should know beforehand: values cut short, letters replaced."""
    return notes(labels_for(book, items))
