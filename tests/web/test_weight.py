"""What a page weighs on its way to a phone: bytes as they are sent, with style, script and icons; and that it is sent packed."""

import gzip
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

FIRST, LATER = (
    80_000,
    25_000,
)  # bytes; the first page brings style, script and icons along, later ones find them kept
GZIP = {"Accept-Encoding": "gzip, deflate, br"}


@pytest.fixture
def owners(web):
    web.choose("Dana")
    web.get("/")  # what was flashed is read
    return web


def on_the_wire(web, path):
    """Bytes of an answer as they are sent, headers among them."""
    answer = web.client.get(path, headers=GZIP, buffered=True)
    head = sum(len(name) + len(value) + 4 for name, value in answer.headers.items()) + 20
    return answer, head + len(answer.data)


def plain(answer):
    return gzip.decompress(answer.data) if answer.headers.get("Content-Encoding") == "gzip" else answer.data


def brought_along(html):
    """The addresses a browser fetches with a page by itself."""
    found = re.findall(r'<(?:link|script|img|source)\b[^>]*?(?:href|src)="([^"]+)"', html)
    return list(dict.fromkeys(address.replace("&amp;", "&") for address in found))


def pages(helpers, names):
    return [*helpers["places_to_look"](names).values(), *helpers["more_to_look"](names)]


def test_every_page_is_light_on_the_wire(owners, helpers, names):
    heavy = []
    for path in pages(helpers, names):
        answer, size = on_the_wire(owners, path)
        if answer.mimetype != "text/html":
            continue
        along = sum(on_the_wire(owners, address)[1] for address in brought_along(plain(answer).decode()))
        if size > LATER:
            heavy.append(f"{path}: {size} bytes")
        if size + along > FIRST:
            heavy.append(f"{path}: {size + along} bytes with what it brings along")
    assert heavy == []


def test_what_is_sent_packed_is_the_page_itself(owners):
    for path in (
        "/",
        "/lists/tires",
        "/lists/tires.csv",
        "/recall.json?suspect=B-11",
        "/static/mark.svg",
    ):
        packed = owners.client.get(path, headers=GZIP, buffered=True)
        bare = owners.client.get(path, headers={"Accept-Encoding": "identity"}, buffered=True)
        assert packed.headers["Content-Encoding"] == "gzip" and "Content-Encoding" not in bare.headers, path
        forget = lambda text: re.sub(rb'name="csrf_token" value="[^"]+"', b"", text)  # noqa: E731 - it is signed anew each time
        assert forget(gzip.decompress(packed.data)) == forget(bare.data), path
        assert len(packed.data) < len(bare.data)
        assert "Accept-Encoding" in packed.headers["Vary"] and "Accept-Encoding" in bare.headers["Vary"]


def test_a_browser_that_takes_no_gzip_gets_none(owners):
    for said in ("", "br", "gzip;q=0"):
        answer = owners.client.get("/", headers={"Accept-Encoding": said}, buffered=True)
        assert "Content-Encoding" not in answer.headers, said


def test_what_the_browser_kept_is_not_sent_again(owners):
    first = owners.client.get("/static/fillbook.css", headers=GZIP, buffered=True)
    again = owners.client.get(
        "/static/fillbook.css", headers={**GZIP, "If-None-Match": first.headers["ETag"]}, buffered=True
    )
    assert (again.status_code, again.data) == (304, b"")
    assert "max-age=31536000" in first.headers["Cache-Control"]


def test_files_that_are_packed_already_are_left_alone(owners, names):
    answer = owners.client.get(f"/attached/{names['paper']}", headers=GZIP, buffered=True)
    assert answer.mimetype == "application/pdf" and "Content-Encoding" not in answer.headers
    assert answer.data.startswith(b"%PDF")


def test_a_part_of_a_file_stays_a_part(owners):
    answer = owners.client.get("/static/fillbook.css", headers={**GZIP, "Range": "bytes=0-9"}, buffered=True)
    assert answer.status_code == 206 and len(answer.data) == 10 and "Content-Encoding" not in answer.headers


def test_nothing_a_page_brings_along_comes_from_elsewhere(owners, helpers, names):
    for path in pages(helpers, names):
        answer = owners.get(path)
        if answer.mimetype == "text/html":
            for address in brought_along(answer.get_data(as_text=True)):
                assert re.match(r"/static/[a-z./-]+\?v=[0-9a-f]{10}$|/labels/face\.png\?", address), (
                    path,
                    address,
                )


def test_a_packed_style_sheet_lacks_its_comments_and_nothing_else(web):
    """The same rules, in the same order: what stands between the comments is untouched, and no text in it looks like a comment."""
    whole = web.client.get("/static/fillbook.css", buffered=True).get_data(as_text=True)
    packed = gzip.decompress(
        web.client.get("/static/fillbook.css", headers=GZIP, buffered=True).data
    ).decode()
    assert "/*" in whole and "/*" not in packed and len(packed) < len(whole)
    assert not re.search(r"""["'][^"'\n]*/\*""", whole)
    pieces = re.split(r"/\*.*?\*/", whole, flags=re.DOTALL)
    assert "".join("".join(pieces).split()) == "".join(packed.split())


@pytest.mark.parametrize("name", sorted(path.name for path in (ROOT / "static").glob("*.js")))
def test_a_packed_script_lacks_comments_and_nothing_else(web, name):
    """Each line of it is there, up to a comment; what looks like one in a string or an expression would be lost, so there is none."""
    whole = (ROOT / "static" / name).read_text(encoding="utf-8")
    packed = gzip.decompress(web.client.get(f"/static/{name}", headers=GZIP, buffered=True).data).decode()
    assert "`" not in whole, "a template over several lines could hold what looks like a comment"
    kept = iter(packed.splitlines())
    for line in whole.splitlines():
        if not line.strip().startswith("//"):
            now = next(kept)
            assert line.startswith(now), now
            lost = line[len(now) :]
            assert not lost or re.fullmatch(r" +// [^\"'`]*", lost), lost
    assert next(kept, None) is None
