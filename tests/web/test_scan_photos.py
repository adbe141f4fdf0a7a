"""What a photograph, a scanner set to another language and a stranger's code lead to; and a bomb, a blank and five codes at once."""

import io
import struct
import zlib

import numpy
import pytest
import segno
from PIL import Image, ImageFilter

from fillbook.trace.core import ids, keyboards
from fillbook.trace.web.scan import photos


def symbol(text, size=420):
    """A QR code drawn by another library than the one that draws our labels."""
    out = io.BytesIO()
    segno.make(text, error="h", micro=False).save(out, kind="png", scale=8, border=4)
    return Image.open(out).convert("L").resize((size, size))


def photo(*texts, size=420, wide=2400, high=1800, dark=1.0, blur=0, grain=0, aslant=0, turn=1):
    scene = Image.new("L", (wide, high), 165)
    for n, text in enumerate(texts):
        scene.paste(
            symbol(text, size).rotate(aslant, expand=True, fillcolor=165), (20 + n * (size + 20), high // 4)
        )
    pixels = numpy.asarray(scene.filter(ImageFilter.GaussianBlur(blur))).astype(float) * dark
    pixels += numpy.random.default_rng(7).normal(0, grain, pixels.shape) if grain else 0
    scene = Image.fromarray(pixels.clip(0, 255).astype("uint8"))
    exif = Image.Exif()
    exif[0x0112] = turn  # Exif 2.32, tag Orientation
    out = io.BytesIO()
    scene.save(out, "JPEG", quality=82, exif=exif.tobytes())
    return out.getvalue()


TEXT = "HTTP://FILLBOOK.LOCAL/I/BHF2600417Y"


@pytest.mark.parametrize(
    "how",
    [{}, {"dark": 0.06}, {"dark": 0.12, "grain": 4}, {"blur": 4}, {"aslant": 33}, {"turn": 6}, {"turn": 3},
     {"size": 66, "wide": 320, "high": 240}],
    ids=["plain", "dark", "dark and grainy", "out of focus", "aslant", "on its side", "upside down", "small"],
)  # fmt: skip
def test_a_label_reads_however_it_was_photographed(how):
    assert [seen.text for seen in photos.read_photo(photo(TEXT, **how))] == [TEXT]


def test_five_codes_are_five(web, names):
    texts = [TEXT + str(n) for n in range(5)]
    assert sorted(seen.text for seen in photos.read_photo(photo(*texts))) == texts


def test_a_photograph_that_shows_nothing_ends_in_time(monkeypatch):
    looked = []
    monkeypatch.setattr(photos, "LONGEST_LOOK_S", 0.0)
    monkeypatch.setattr(photos, "_codes", lambda picture: looked.append(picture) or [])
    assert photos.read_photo(photo(wide=4000, high=3000)) == []
    assert len(looked) == 2  # small and whole; no treatment once the time is up


def a_png_that_claims(width, height):
    def part(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + part(b"IHDR", head)
        + part(b"IDAT", zlib.compress(b"\0" * 1000))
        + part(b"IEND", b"")
    )


# -- through the page ----------------------------------------------------------------------------------------------------------
def send_photo(web, data, came_from="", name="tag.jpg"):
    form = web.form("/", "/scan")
    said = {**form.filled(), "photo": (io.BytesIO(data), name)}
    if came_from:
        said["from"] = came_from
    return web.client.post("/scan", data=said, content_type="multipart/form-data", buffered=True)


def scan(web, text, came_from="", by=""):
    said = {**web.form("/", "/scan").filled(), "code": text, "from": came_from, "by": by}
    return web.client.post("/scan", data=said, buffered=True)


def test_a_photographed_tag_opens_its_page(web, names):
    answer = send_photo(web, photo(f"HTTP://FILLBOOK.LOCAL/I/{names['sent']}"))
    assert (answer.status_code, answer.location) == (303, f"/i/{names['sent']}")


def test_a_photographed_tag_at_a_line_goes_on_there(web, names):
    answer = send_photo(web, photo(names["waiting"]), f"cage:{names['line']}")
    assert answer.location == f"/cage/{names['line']}?tire={names['waiting']}"


def test_a_photograph_without_a_code_says_what_to_do(web):
    answer = send_photo(web, photo())
    assert answer.status_code == 422 and "No code can be read in this photograph" in web.said(answer)


def test_of_five_the_one_that_is_meant_is_chosen(web, names):
    several = [names[one] for one in ("sent", "cured", "held", "a")]
    answer = send_photo(web, photo(*several, "https://elsewhere.example/x"))
    words = web.words(answer)
    assert answer.status_code == 300 and "shows 5 codes" in words and "https://elsewhere.example/x" in words
    assert all(ids.pretty(one) in words for one in several)
    assert "elsewhere.example" not in " ".join(
        a for _, tag in _tags(answer) if (a := tag.get("href"))
    )  # shown, never a link
    form = {**web.form("/", "/scan").filled(), "code": several[2], "by": "scanner", "from": "desk"}
    assert web.client.post("/scan", data=form).location == f"/desk/{several[2]}"


def _tags(answer):
    from html.parser import HTMLParser

    found = []
    reader = HTMLParser()
    reader.handle_starttag = lambda tag, attributes: found.append((tag, dict(attributes)))
    reader.feed(answer.get_data(as_text=True))
    return found


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (a_png_that_claims(60_000, 60_000), "too many pixels"),
        (b"GIF89a not a picture", "no picture"),
        (b"", "No photograph"),
    ],
)
def test_a_bomb_or_no_picture_is_refused_in_words(web, data, words):
    head = web.head()
    answer = send_photo(web, data)
    assert answer.status_code == 422 and words in web.said(answer) and web.head() == head


def test_an_address_of_another_host_is_shown_and_not_followed(web, names):
    answer = send_photo(web, photo("https://elsewhere.example/pay"))
    assert (
        answer.status_code == 422
        and "https://elsewhere.example/pay" in web.words(answer)
        and answer.location is None
    )


@pytest.mark.parametrize("computer", ["German", "French", "Spanish", "Italian"])
def test_a_scanner_set_to_another_language_still_scans(web, names, computer):
    typed = keyboards.typed_as(f"HTTP://FILLBOOK.LOCAL/I/{names['sent']}", "US", computer)
    assert scan(web, typed).location == f"/i/{names['sent']}"
    assert f"keyboard is {computer}" in web.words(web.get(f"/i/{names['sent']}"))


def test_a_mistyped_check_is_never_helped_past(web, names):
    wrong = names["sent"][:-1] + ("Z" if names["sent"][-1] != "Z" else "Y")
    answer = scan(web, wrong)
    assert answer.status_code == 422 and "last character" in web.said(answer)


def test_the_scanners_echo_does_nothing(web, names, clock):
    badge = web.book.value("SELECT item FROM person WHERE name = 'Sam'")
    scan(web, badge)
    assert "Sam works at this station now" in web.words(web.get("/"))
    clock.now += 1
    assert scan(web, badge).location == "/"
    assert "works at this station now" not in web.words(web.get("/"))
    clock.now += 3
    scan(web, badge)
    assert "Sam works at this station now" in web.words(web.get("/"))


def test_at_the_racks_a_tire_then_a_zone(web, names, clock):
    assert scan(web, names["cured"], "racks").location == f"/do/rack?tires={names['cured']}"
    clock.now += 20
    assert scan(web, names["zone_2"]).location == f"/do/rack?tires={names['cured']}&zone={names['zone_2']}"
    clock.now += 20
    assert scan(web, names["zone_2"]).location == f"/racks/{names['zone_2']}"


def test_at_a_line_a_tote_offers_to_be_hooked_up(web, names):
    path = scan(web, names["spare_a"], f"cage:{names['line']}").location
    assert path == f"/cage/{names['line']}/change/{names['spare_a']}"
    assert web.client.get(path).location == f"/do/hook-up?line={names['line']}&tote={names['spare_a']}"


def test_at_the_dock_a_scanned_suppliers_code_goes_to_the_dock(web):
    answer = scan(web, "]C10110012345678902", "dock", by="scanner")
    assert (answer.status_code, answer.location) == (307, "/dock/read")
