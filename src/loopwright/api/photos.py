"""Photographs as they are kept: taken apart and made anew, so that nothing but the picture survives.

A file that is a picture and something else besides, where it was taken, and by what telephone: all that stays outside.
"""

from __future__ import annotations

import warnings
from io import BytesIO

from loopwright.errors import InputError, Problem
from loopwright.language import say

__all__ = ["LARGEST_FILE", "cleaned", "smaller"]

LARGEST_FILE = 10_000_000  # bytes
_MOST_PIXELS = 40_000_000  # 8k by 5k; decoded it takes 120 MB, and no telephone of today sends more
_LONGEST_SIDE = 2000  # px as kept: the print on a label can be read
_FORMS = ("JPEG", "PNG", "WEBP")
_QUALITY = 85


def cleaned(content: bytes) -> bytes:
    """Return a photograph as it is kept: JPEG, upright, without metadata, at most 2000 px on its longer side.

    Parameters
    ----------
    content : the file as sent: JPEG, PNG or WebP

    Raises
    ------
    InputError : no picture that can be read, too large, or with too many pixels
    """
    from PIL import Image, ImageOps

    if len(content) > LARGEST_FILE:
        raise _refused(say("{size} MB", size=round(len(content) / 1e6)), say("at most 10 MB"), say("Too large."))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(BytesIO(content), formats=_FORMS) as opened:
                if opened.width * opened.height > _MOST_PIXELS:
                    raise _refused(f"{opened.width} × {opened.height}", say("40 million pixels"), say("Too large."))
                opened.draft("RGB", (_LONGEST_SIDE, _LONGEST_SIDE))
                upright = ImageOps.exif_transpose(opened).convert("RGB")
    except InputError:
        raise
    except Exception as error:  # decoders of pictures fail in many ways, all of them mean the same
        allowed = say("a photograph (JPEG, PNG or WebP)")
        raise _refused(say("a file"), allowed, say("This is no photograph that can be read.")) from error
    return _jpeg(upright, _LONGEST_SIDE)


def smaller(content: bytes, side: int) -> bytes:
    """Return a kept photograph again, at most `side` px on its longer side."""
    from PIL import Image

    with Image.open(BytesIO(content)) as opened:
        opened.draft("RGB", (side, side))
        return _jpeg(opened.convert("RGB"), side)


def _jpeg(picture: object, side: int) -> bytes:
    from PIL import Image

    assert isinstance(picture, Image.Image)
    fresh = Image.new("RGB", picture.size)  # holds pixels and nothing else
    fresh.paste(picture)
    fresh.thumbnail((side, side))
    out = BytesIO()
    fresh.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()


def _refused(found: str, allowed: str, says: str) -> InputError:
    return InputError([Problem("photo", found, allowed, says)])
