"""What there is to say of a label's marks is said in the language of the page, not in that of the label."""

import pytest

from fillbook.labels import symbols
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.languages.catalogue import catalogue

ENGLISH = {
    "the",
    "address",
    "longer",
    "holds",
    "printed",
    "name",
    "keeps",
    "cannot",
    "stand",
    "give",
    "label's",
    "characters",
    "character",
}


def english_in(words):
    return set(words.lower().replace(",", " ").replace(".", " ").replace(":", " ").split()) & ENGLISH


@pytest.mark.parametrize("characters", [36, 40, 61])
def test_the_note_of_a_long_address_is_spanish(characters):
    """ISO/IEC 18004, capacities of version 3: 35 characters at level H, 61 at level M."""
    address = "HTTP://" + "A" * (characters - 7)
    words = catalogue("es").said(symbols.qr(address).note)
    assert english_in(words) == set() and "nivel H" in words and address[:30] in words


@pytest.mark.parametrize(
    "draw",
    [
        lambda: symbols.qr("HTTP://" + "A" * 70),
        lambda: symbols.qr("http://x"),
        lambda: symbols.qr(""),
        lambda: symbols.code128("é"),
    ],
)
def test_what_cannot_be_drawn_is_said_in_spanish(draw):
    with pytest.raises(Nonsense) as refused:
        draw()
    assert english_in(catalogue("es").said(str(refused.value))) == set()


def test_a_page_of_labels_says_it_to_a_spanish_reader(web, names):
    web.book.execute("UPDATE shop SET host = ?", ["fillbook-server.workshop.example"])
    english = web.words(web.get(f"/labels?ids={names['a']}"))
    assert "longer than the scuff-resistant QR code (level H) holds" in english
    web.send(web.form("/preferences"), language="es")
    words = web.words(web.get(f"/labels?ids={names['a']}"))
    assert "resistente al roce (nivel H)" in words and "scuff-resistant" not in words
