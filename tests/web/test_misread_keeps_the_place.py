"""A misread, an empty box, words that find nothing: said where it happened, and the next scan is read as if there had been none."""

import io

import pytest

from fillbook.trace.core import ids, keyboards


def send(web, form, code, by="scanner", **more):
    return web.client.post(
        "/scan",
        data={**form.filled(code=code, by=by), **more},
        content_type="multipart/form-data",
        buffered=True,
    )


def send_too_large(web, form):
    """As a browser writes it down (RFC 7578), the fields before the file; the test client would leave a file of its own open."""
    part = '--x\r\nContent-Disposition: form-data; name="{}"{}\r\n\r\n'
    body = "".join(
        part.format(name, "") + values[0] + "\r\n" for name, values in form.filled(code="").items()
    )
    body += part.format("photo", '; filename="tag.jpg"\r\nContent-Type: image/jpeg')
    whole = body.encode() + b"x" * (25 * 1024 * 1024) + b"\r\n--x--\r\n"
    return web.client.post("/scan", data=whole, content_type="multipart/form-data; boundary=x", buffered=True)


def box(web, answer):
    """The scan box of the page that was answered, as it would be sent next."""
    page = type(web.read("/who"))(answer.get_data(as_text=True))
    return next(one for one in page.forms if one.action == "/scan"), page.addresses


def misread(code):
    return code[:-1] + ("7" if code[-1] != "7" else "8")


@pytest.fixture
def places(names):
    line = names["line"]
    return {
        "desk": ("/desk", "cured", f"/desk/{names['cured']}"),
        "cage": (f"/cage/{line}", "waiting", f"/cage/{line}?tire={names['waiting']}"),
        "several": (f"/desk/several?tires={names['cured']}", "sent", f"/desk/several?tires={names['cured']},{names['sent']}"),
        "racks": ("/racks", "cured", f"/racks?tires={names['cured']}"),
    }  # fmt: skip


@pytest.mark.parametrize("wrong", ["misread", "empty", "no picture", "too large", "unknown"])
@pytest.mark.parametrize("place", ["desk", "cage", "several"])
def test_after_what_could_not_be_read_the_next_scan_goes_on_where_it_was(web, names, places, place, wrong):
    path, item, leads = places[place]
    form = web.form(path, "/scan")
    if wrong == "no picture":
        answer = send(web, form, "", photo=(io.BytesIO(b"no picture"), "tag.jpg"))
    elif wrong == "too large":
        answer = send_too_large(web, form)
        assert "The photograph is larger than 24 MB" in web.words(answer)
    else:
        code = {"misread": misread(names[item]), "empty": "", "unknown": ids.mint("ZZ", "F", 26, 77)}[wrong]
        answer = send(web, form, code)
    assert answer.status_code in (404, 413, 422)
    again, addresses = box(web, answer)
    assert path in addresses  # a way back that a finger can take
    assert send(web, again, names[item]).location == leads


@pytest.mark.parametrize("kind", ["multipart/form-data", "multipart/form-data; boundary=x", "text/plain"])
def test_what_is_too_large_and_no_form_at_all_is_refused_as_ever(web, kind):
    answer = web.client.post("/scan", data=b"\0" * (25 * 1024 * 1024), content_type=kind, buffered=True)
    assert answer.status_code == 413 and "larger than 24 MB" in web.words(answer)


@pytest.mark.parametrize("place", ["desk", "cage", "several"])
def test_words_that_find_nothing_keep_the_place(web, names, places, place):
    path, item, leads = places[place]
    answer = send(web, web.form(path, "/scan"), "no such words", by="")
    assert answer.status_code == 303 and answer.location.startswith("/search?q=no")
    form, addresses = box(web, web.get(answer.location, 404))
    assert path in addresses
    assert send(web, form, names[item]).location == leads


def test_a_page_that_an_address_makes_up_is_none(web):
    form, addresses = box(web, web.get("/search?q=xx-none&from=//elsewhere.example", 404))
    assert "from" not in form.fields and not any("elsewhere.example" in one for one in addresses)


@pytest.mark.parametrize("computer", ["German", "French", "Spanish", "Italian"])
def test_a_label_from_another_keyboard_is_read_in_a_form_as_in_the_box(web, names, computer):
    typed = keyboards.typed_as(f"HTTP://FILLBOOK.LOCAL/I/{names['spare_a']}", "US", computer)
    done = web.do("hook up", line=names["line"], tote=typed)
    assert f"keyboard is {computer}" in web.words(web.get(done.location))
    assert web.last()["body"]["said"]["tote"] == names["spare_a"]


def test_a_check_character_typed_wrong_is_not_helped_past_in_a_form(web, names):
    head = web.head()
    answer = web.do("hook up", 422, line=names["line"], tote=misread(names["spare_a"]))
    assert "last character" in web.said(answer) and web.head() == head
