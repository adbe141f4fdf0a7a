"""A suspect that the book does not know is named once in its refusal, whichever way it is wrong."""

import pytest

from fillbook.trace.book import recalls
from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.languages.catalogue import catalogue


@pytest.mark.parametrize(
    "said", ["LOT-9999", "the blue drum", "BH-F26-00417-A", "HTTP://SHOP.EXAMPLE/I/BHF2600417A"]
)
def test_it_is_named_once_and_says_what_to_do(shop, said):
    with pytest.raises(UnknownItem) as refused:
        recalls.recall(shop.book, "BH", said)
    words = str(refused.value)
    assert words.count(said) == 1 and words.startswith(f'"{said}" is neither a lot in this book nor an ID.')
    assert "scan the label" in words
    spanish = catalogue("es").said(words)
    assert spanish.startswith(f'"{said}" no es un lote de este libro ni un ID.') and spanish.count(said) == 1


def test_a_long_one_is_cut(shop):
    with pytest.raises(UnknownItem) as refused:
        recalls.recall(shop.book, "BH", "x" * 5000)
    assert len(str(refused.value)) < 300
