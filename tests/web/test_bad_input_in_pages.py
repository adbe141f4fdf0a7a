"""The table of bad input once more, typed into the pages: a clear sentence, a 4xx, and nothing changed."""

import importlib.util
import sys
from pathlib import Path

import pytest

from fillbook.trace.web.app import create_app
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Measure, fields_of

_spec = importlib.util.spec_from_file_location(
    "bad_input_cases_for_pages", Path(__file__).resolve().parent.parent / "work" / "bad_input_cases.py"
)
cases = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = cases
_spec.loader.exec_module(cases)


def as_typed(verb, said):
    """The case's fields under the names a form has; None where no form can say such a thing."""
    names = {a: one for one in fields_of(registry.find(verb).ask) for a in one.accepts}
    found = {}
    for name, value in said.items():
        one = names.get(name)
        if (
            one is None
            or one.sub is not None
            or isinstance(value, dict | bool)
            or value is None
            or value == ""
        ):
            return None
        if (isinstance(value, list) and not one.many) or any("\ud800" <= c <= "\udfff" for c in str(value)):
            return None  # a form sends whole texts
        if isinstance(one.mark, Measure):
            if one.name in found:
                return None
            found[one.name] = str(value)
            found[one.name + ".unit"] = name.removeprefix(one.name.removesuffix(one.mark.canonical))
        else:
            found[name] = "\n".join(map(str, value)) if isinstance(value, list) else str(value)
    return found


@pytest.mark.parametrize(
    "case", [c for c in cases.CASES if c.who and not c.request], ids=lambda case: case.name
)
def test_a_page_refuses_with_a_sentence_and_changes_nothing(shop, case):
    names = cases.stage(shop)
    typed = as_typed(case.verb, case.said(names))
    if typed is None or case.who not in ("Sam", "Lee", "Dana", "Kim"):
        pytest.skip("no form can say this; the verb and the command line are asked in tests/work")
    before = shop.fingerprint()
    app = create_app(shop.book.where, clock=lambda: shop.now, secret="only here", testing=True)
    app.config["WTF_CSRF_ENABLED"] = False
    client = app.test_client()
    person = shop.book.value("SELECT item FROM person WHERE name = ?", case.who)
    client.post("/who", data={"person": person})
    at = case.time(names)
    answer = client.post(
        f"/do/{case.verb.replace(' ', '-')}",
        data={**typed, **({"at": at} if at else {})},
        follow_redirects=True,  # a logger's file is sent on, with all that was typed, to the page that shows it first
    )
    assert 400 <= answer.status_code < 500, (answer.status_code, case.name)
    assert shop.fingerprint() == before
