"""The fact rows of each kind of event, kind by kind, by the place where it happens. :mod:`apply` alone calls them."""

from fillbook.trace.book.facts import (  # noqa: F401 - each registers its kinds
    cure,
    desk,
    dock,
    fills,
    line,
    papers,
    recalls,
    regrind,
    setting_up,
    tires,
)
