"""The shop's own mark on its labels: made small and grey, as a label printer can only print black."""

from __future__ import annotations

import io
from functools import lru_cache

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.labelling import LARGEST_LOGO

_MOST_PIXELS = 16_000_000  # of the picture as sent; a few kilobytes can claim billions
_KEPT = (640, 360)  # pixels kept; a logo is at most 27 mm wide


@lru_cache(maxsize=8)
def checked(data: bytes) -> bytes:
    """*data* (PNG or JPEG) as a small grey PNG on white.

    Raises Nonsense for a file that is too large, no such picture, or damaged.
    """
    if len(data) > LARGEST_LOGO:
        raise Nonsense(
            f"The logo is {len(data) / 1e6:.1f} MB; at most {LARGEST_LOGO / 1e6:.0f} MB are taken. Save it smaller: it is printed 27 mm wide.",
            field="logo",
        )
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=("PNG", "JPEG")) as picture:
            if picture.width * picture.height > _MOST_PIXELS:
                raise Nonsense("The logo has too many pixels to be unpacked: save it smaller.", field="logo")
            picture.thumbnail(_KEPT)
            ground = Image.new("RGBA", picture.size, "white")
            grey = Image.alpha_composite(ground, picture.convert("RGBA")).convert("L")
    except Nonsense:
        raise
    except Exception:  # the readers of damaged files raise whatever they stumble over
        raise Nonsense(
            "The logo is no picture that can be read: save it as PNG or JPEG.", field="logo"
        ) from None
    out = io.BytesIO()
    grey.save(out, "PNG")
    return out.getvalue()
