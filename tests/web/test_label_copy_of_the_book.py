"""Which copy a label is comes from the book's own record of prints: one more than were handed out or accepted so far."""

from fillbook.trace.cli import papers
from fillbook.trace.web import printing


def test_the_next_label_is_one_copy_more_than_the_book_knows_of(web, names):
    printed, fresh = names["a"], names["waiting"]  # the tote's label was handed out when it came in
    assert [one.copy for one in printing.labels_for(web.book, [printed, fresh])] == [2, 1]
    assert [one.copy for one in papers.labels_of(web.book, [printed, fresh])] == [2, 1]
    web.do("print", items=fresh)
    assert [one.copy for one in printing.labels_for(web.book, [printed, fresh])] == [2, 2]


def test_what_a_printer_refused_is_no_copy(web, names):
    web.do("print failed", items=names["waiting"], printer="lp:dock", trouble="out of labels")
    assert printing.labels_for(web.book, [names["waiting"]])[0].copy == 1
