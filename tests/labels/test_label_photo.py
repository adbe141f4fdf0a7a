"""Photographs: labels are found whichever way up, hostile files are refused in a sentence."""

import contextlib
import io
import random
import struct
import zlib

import numpy
import pytest
import zxingcpp
from PIL import Image

from fillbook.labels import proof, rendering
from fillbook.labels.pdf import make_pdf
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

ORIENTATION = 0x0112  # EXIF 2.3, tag 274


def as_file(picture: Image.Image, kind: str = "JPEG", **options) -> bytes:
    out = io.BytesIO()
    picture.save(out, kind, **options)
    return out.getvalue()


@pytest.fixture(scope="module")
def tag(a_label):
    return a_label("tire tag")


@pytest.fixture(scope="module")
def front(tag) -> Image.Image:
    return rendering.page(make_pdf([tag]), 0, 203)


@pytest.fixture(scope="module")
def scene(front) -> Image.Image:
    """The tag lying a little askew on a dark, uneven floor, photographed from some way off (3000 x 2000)."""
    grain = random.Random(4).randbytes(300 * 200)
    floor = Image.frombytes("L", (300, 200), bytes(60 + b // 4 for b in grain)).resize((3000, 2000))
    turned = front.convert("LA").rotate(9, resample=Image.Resampling.BICUBIC, expand=True)
    floor.paste(turned.getchannel("L"), (900, 250), turned.getchannel("A"))
    return floor


def test_a_tag_on_the_floor_reads(scene, tag):
    assert {ids.read(text) for text in proof.read_photo(as_file(scene, quality=80))} == {tag.id}


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_of_picture_reads(kind, front, tag):
    found = proof.read_photo(as_file(front, kind))
    assert set(found) == {ids.address(tag.host, tag.id), tag.id}
    assert len(found) == 2  # the stub's QR code says the same and is not told twice


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_is_read_whichever_way_the_camera_was_held(orientation, front, tag):
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    found = proof.read_photo(as_file(front, exif=exif.tobytes()))
    assert {ids.read(text) for text in found} == {tag.id}


def test_the_camera_is_turned_upright_by_its_own_word(front):
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    picture, _ = proof.opened(as_file(front, exif=exif.tobytes()), draft=False)
    assert picture.size == (front.height, front.width)


def test_a_small_tag_in_a_large_picture_is_found_on_the_second_look(front, tag):
    """At the first look's half size a module of the large code is 1 pixel wide, too little; the full picture has 2."""
    wide = Image.new("L", (4000, 3000), 90)
    small = front.resize((front.width // 3, front.height // 3), Image.Resampling.BICUBIC)
    wide.paste(small, (1700, 1200))
    photo = as_file(wide, quality=85)
    assert proof._texts(proof.opened(photo, draft=True)[0]) == []
    assert tag.id in {ids.read(text) for text in proof.read_photo(photo)}


def test_a_picture_without_a_label_gives_nothing(scene):
    assert proof.read_photo(as_file(scene.crop((0, 0, 600, 200)))) == []


def test_other_kinds_of_symbol_are_not_looked_for():
    other = zxingcpp.create_barcode("BHF2600417Y", zxingcpp.BarcodeFormat.DataMatrix).to_image(8)
    assert proof.read_photo(as_file(Image.fromarray(numpy.array(other)), "PNG")) == []


def test_clear_ground_counts_as_white_paper(front, tag):
    ink = Image.new("RGBA", front.size, (0, 0, 0, 0))
    ink.putalpha(front.point(lambda grey: 255 - grey))
    assert {ids.read(text) for text in proof.read_photo(as_file(ink, "PNG"))} == {tag.id}


def a_png_that_claims(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0"))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(
    "size", [(4001, 4000), (9000, 9999), (12_000, 12_000), (60_000, 60_000), (2**31 - 1, 2**31 - 1)]
)
def test_a_picture_that_would_fill_the_memory_is_refused(size):
    with pytest.raises(Nonsense, match="too many pixels"):
        proof.read_photo(a_png_that_claims(*size))


@pytest.mark.parametrize(
    "photo",
    [
        b"",
        b"hello",
        b"%PDF-1.4",
        b"GIF89a" + bytes(20),
        b"\xff\xd8\xff\xe0" + bytes(40),
        a_png_that_claims(100, 100),
    ],
    ids=["nothing", "text", "pdf", "gif", "jpeg without end", "png without pixels"],
)
def test_what_is_no_picture_is_refused_in_a_sentence(photo):
    with pytest.raises(Nonsense, match="no picture that can be read"):
        proof.read_photo(photo)


def test_a_photograph_cut_off_in_sending_is_refused(scene):
    whole = as_file(scene)
    with pytest.raises(Nonsense, match="no picture that can be read"):
        proof.read_photo(whole[: len(whole) // 2])


def test_files_damaged_anywhere_raise_nothing_else(front):
    lots = random.Random(7)
    for kind in ("JPEG", "PNG", "WEBP"):
        whole = as_file(front.resize((200, 400)), kind)
        for _ in range(40):
            damaged = bytearray(whole)
            for _ in range(lots.randrange(1, 6)):
                damaged[lots.randrange(len(damaged))] = lots.randrange(256)
            with contextlib.suppress(Nonsense):
                proof.read_photo(bytes(damaged))
