"""What one event took from another follows when that one is corrected: its verb is run again, in a correction of its own.

A fill takes its line, its start and whether it was cold from what was said when it was started; a fill cut out and not weighed, its
weight from the fill; a change-over, the tote that came off from the one before it; a tote taken off, its line; and a tire that was laid
in the warm soaks or cures by whether it was filled. Otherwise a start scanned at the wrong line would be put right, and the tire stay
linked to the lots of the wrong one. What is entered late is followed, too: a fill whose tire lies in the warm already, a cup whose mix
was cold.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fillbook.trace.book import apply, journal, queries
from fillbook.trace.book.opening import Book
from fillbook.trace.core.errors import Conflict, ShopError
from fillbook.trace.work.acting import dry_run
from fillbook.trace.work.corrections import Correct, new_body
from fillbook.trace.work.filling import CUP_COUNTS_S
from fillbook.trace.work.floor import Floor

#: Kind of the event that follows -> what of its body was taken from the corrected one.
TAKEN = {
    "finish fill": ("line", "began", "started_at", "cold"),
    "pause": ("line",),
    "resume": ("line",),
    "leak": ("line",),
    "abandon": ("line",),
    "reclaim": ("grams",),
    "hook up": ("before",),
    "unhook": ("line", "side"),
    "weigh": ("line", "stream"),
    "rack": ("soaking",),
    "identify": ("returned_at", "complaint", "customer", "size", "clues"),
}
#: Where these can't be worked out anew, they stay as they are.
STAYS = ("hook up", "rack", "weigh", "identify", "reclaim")


def following(floor: Floor, event: journal.Event) -> Iterator[dict[str, Any]]:
    """What is to be written after *event*, a correction or a late entry: for each event that follows it, the body of its own
    correction with ``correcting``, ``bore_on`` and ``happened_at``. Each has to be applied before the next is asked for.

    Raises Conflict where one can't be as it would follow, and a line would be wrong.
    """
    if event.corrects is None:
        target, why = event, f"It follows from event {event.seq}, which was entered late."
    else:
        target = apply.original(floor.book, floor.shop, event.corrects)
        why = f"It follows from the correction of event {target.seq} in event {event.seq}: {event.body['said']['why']}"
    for seq in _followers(floor, target):
        stands = apply.effective(floor.book, floor.shop, seq)
        if stands is None:
            continue
        ask = Correct(event=seq, void=False, happened=None, why=why[:1000])
        try:
            with dry_run(floor.book):
                tried, _ = _anew(floor, ask, stands)
        except ShopError as trouble:
            # A cup or a fill has happened, whatever else the book says
            if stands.kind in STAYS or event.corrects is None or target.kind == "pour cup":
                continue
            raise Conflict(
                f"Event {seq} ({stands.kind}) follows from this one and can't stay as it is: {trouble} Void that event first.",
                field="event",
            ) from None
        if any(tried[name] != stands.body[name] for name in TAKEN[stands.kind]):
            body, before = _anew(floor, ask, stands)
            yield {
                "said": ask.model_dump(exclude_none=True), "ids": [], "findings": [], "of": stands.kind, "void": False, "body": body,
                "said_at": floor.at, "correcting": seq, "bore_on": before, "happened_at": stands.happened_at,
            }  # fmt: skip


def _anew(floor: Floor, ask: Correct, stands: journal.Event) -> tuple[dict[str, Any], Any]:
    target = apply.original(floor.book, floor.shop, stands.seq)
    return new_body(ask, floor, target, stands, stands.happened_at)


def _followers(floor: Floor, target: journal.Event) -> list[int]:
    """The numbers of the events that took something from *target*, by what it ever said, in order."""
    book, shop = floor.book, floor.shop
    texts = book.tuples("SELECT text FROM event WHERE shop = ? AND corrects = ?", shop, target.seq)
    corrections = [journal.Event.from_text(text) for (text,) in texts]
    bodies = [(target.happened_at, target.body)]
    bodies += [(one.happened_at, one.body["body"]) for one in corrections if one.body["body"]]
    found: set[int] = set()
    for at, body in bodies:
        said = body["said"]
        match target.kind:
            case "start fill" | "resume":
                found |= _of_fill(book, shop, said["tire"], parts=len({_line(one) for _, one in bodies}) > 1)
            case "finish fill":
                found |= _seqs(
                    book,
                    "SELECT seq FROM out_of WHERE shop = ? AND item = ? AND what = 'reclaim'",
                    shop,
                    said["tire"],
                )
                found |= _said_of(book, shop, said["tire"], "rack")
            case "pour cup":
                until = at + CUP_COUNTS_S
                found |= _seqs(
                    book,
                    "SELECT seq FROM fill WHERE shop = ? AND line = ? AND at BETWEEN ? AND ?",
                    shop,
                    said["line"],
                    at,
                    until,
                )
            case "hook up" | "unhook":
                found |= _said_of(book, shop, said["tote"], "unhook", "weigh")
                found |= _seqs(
                    book,
                    "SELECT seq FROM line_act WHERE shop = ? AND line = ? AND stream = ? AND what = 'hook' AND at >= ? AND seq <> ? "
                    "ORDER BY at, rank, seq, n LIMIT 1",
                    shop, _line(body), body["side"], at, target.seq,
                )  # fmt: skip
            case "return":
                found |= _seqs(
                    book, "SELECT seq FROM came_back WHERE shop = ? AND return_seq = ?", shop, target.seq
                )
    return sorted(found - {target.seq})


def _line(body: dict[str, Any]) -> str:
    return str(body.get("line") or body["said"]["line"])


def _of_fill(book: Book, shop: str, tire: str, parts: bool) -> set[int]:
    """The finish of a tire's fill; and its *parts*, where another line was said. Without any start the line would be unknown: what
    was said then stays."""
    if queries.start_of(book, tire) is None:
        return set()
    return _said_of(
        book, shop, tire, "finish fill", *(("pause", "resume", "leak", "abandon") if parts else ())
    )


def _said_of(book: Book, shop: str, item: str, *kinds: str) -> set[int]:
    """The events of these *kinds* that tell of *item*."""
    return _seqs(
        book,
        "SELECT t.seq FROM touch t JOIN event e ON e.shop = t.shop AND e.seq = t.seq "
        f"WHERE t.shop = ? AND t.item = ? AND e.kind IN ({', '.join('?' * len(kinds))})",
        shop, item, *kinds,
    )  # fmt: skip


def _seqs(book: Book, sql: str, *said: str | int) -> set[int]:
    return {seq for (seq,) in book.tuples(sql, *said)}
