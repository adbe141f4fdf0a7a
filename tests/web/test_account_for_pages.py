"""From the recall's page it takes one touch to say what became of the tires a customer has, or of one of them."""

import html
import re

from fillbook.trace.core import ids


def links(words: str) -> list[str]:
    return [html.unescape(one) for one in re.findall(r'href="(/do/account-for\?[^"]+)"', words)]


def test_a_customers_tires_stand_in_the_form_and_the_outcome_on_the_recalls_page(web, names):
    page = web.do("open recall", suspect="A-11", defect="setting", why="smells of water").location
    there = links(web.get(page).text)
    assert there and all(f"recall={page.split('/')[-1]}&" in one for one in there)
    assert "Say what became of" in web.words(web.get(page))
    form = web.form(next(one for one in there if names["sent"] in one), "/do/account-for")
    assert names["sent"] in form.fields["tires"][0].split()
    answer = web.send(form, became="out of reach", found="the machine was sold on")
    assert answer.location == page
    words = web.words(web.get(page))
    assert re.search(rf"{ids.pretty(names['sent'])}.*out of reach", words)
    assert not any(names["sent"] in one for one in links(web.get(page).text))
    assert "accounted for in the recall" in web.words(web.get(f"/i/{names['sent']}"))


def test_one_that_is_not_listed_is_refused_beside_its_field(web, names):
    form = web.form(f"/do/account-for?recall={names['recall']}&tires={names['waiting']}", "/do/account-for")
    answer = web.send(form, 422, became="out of reach", found="sold on")
    assert "is not on the list of the recall" in web.said(answer)
