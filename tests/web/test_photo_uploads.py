"""Photographs: whatever is sent, only a picture's pixels are kept, and only by their hash are they found."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from io import BytesIO
from struct import pack
from typing import Any

import pytest
from knocking import Browser, Place, token_in
from PIL import Image

from loopwright.api.photos import LARGEST_FILE, cleaned
from loopwright.errors import InputError

SECRET = b"<script>alert('here')</script> 52.5200N 13.4050E"


def picture(form: str = "JPEG", size: tuple[int, int] = (300, 200), **more: Any) -> bytes:
    out = BytesIO()
    image = Image.new("RGB", size, "#204060")
    image.paste("#ff0000", (0, 0, size[0] // 2, size[1] // 2))  # red in the upper left
    image.save(out, form, **more)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    return Image.open(BytesIO(content))


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photograph_comes_out_as_plain_jpeg(form: str) -> None:
    with opened(cleaned(picture(form))) as kept:
        assert (kept.format, kept.size, kept.mode) == ("JPEG", (300, 200), "RGB")


def test_it_is_turned_upright_and_says_nothing_of_where_it_was_taken() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010E] = SECRET.decode()
    exif.get_ifd(0x8825)[1] = "N"  # the place
    content = cleaned(picture(exif=exif, comment=SECRET))
    assert SECRET not in content
    with opened(content) as kept:
        assert kept.size == (200, 300)
        assert not kept.getexif()
        red, _, blue = kept.getpixel((180, 10))  # type: ignore[misc]
        assert red > 200 > blue  # what was upper left is now upper right


def test_a_file_that_is_something_else_besides_loses_it() -> None:
    for content in (picture() + b"PK\x03\x04" + SECRET, picture("PNG") + SECRET, picture(comment=SECRET)):
        kept = cleaned(content)
        assert SECRET not in kept
        assert b"PK\x03\x04" not in kept


def test_a_large_photograph_is_made_smaller() -> None:
    with opened(cleaned(picture(size=(4000, 3000)))) as kept:
        assert kept.size == (2000, 1500)


def bomb() -> bytes:
    """A PNG of a few kilobytes that says that it has 400 million pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return pack(">I", len(data)) + kind + data + pack(">I", zlib.crc32(kind + data))

    head = pack(">IIBBBBB", 20_000, 20_000, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 20_001))
        + chunk(b"IEND", b"")
    )


REFUSED = {
    "empty": b"",
    "text": b"not a picture",
    "page": b"<html><script>alert(1)</script></html>",
    "drawing": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "truncated": picture()[:200],
    "animation": picture("GIF"),
    "document": b"%PDF-1.7 " + SECRET,
    "bomb": bomb(),
    "too many pixels": picture("PNG", (7000, 6000)),
    "too large": picture() + b"\0" * LARGEST_FILE,
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_photograph_is_refused(name: str) -> None:
    with pytest.raises(InputError):
        cleaned(REFUSED[name])


class Photos:
    """One job, and a browser to send photographs from."""

    def __init__(self, place: Place, signed_in: str = "") -> None:
        self.shop = place.shop
        self.shop.judge = lambda *_: False  # type: ignore[method-assign]
        self.browser = Browser(place, signed_in=signed_in)
        self.browser.get("/settings")
        self.job = self.shop.open_job("Ann")

    def send(
        self, content: bytes, kind: str = "image/jpeg", token: str | None = None, job: str = "", q: str = ""
    ) -> Any:
        key = token_in(self.browser.get("/").text) if token is None else token
        headers = {"content-type": kind, "accept": "application/json", "x-csrf-token": key, "origin": self.browser.base}
        return self.browser.client.post(f"/jobs/{job or self.job}/photos{q}", content=content, headers=headers)

    def kept(self) -> list[str]:
        return [photo.photo for photo in self.shop.job(self.job).state.photos]


@pytest.fixture
def photos(place: Callable[..., Place]) -> Photos:
    return Photos(place())


def test_a_photograph_is_entered_into_its_job_and_shown(photos: Photos) -> None:
    answer = photos.send(picture())
    assert answer.status_code == 201
    assert photos.kept() == [answer.json()["photo"]]
    shown = photos.browser.get(answer.headers["location"])
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in shown.headers["content-security-policy"]
    assert shown.headers["cache-control"].startswith("private")
    again = photos.browser.get(answer.headers["location"], if_none_match=shown.headers["etag"])
    assert (again.status_code, again.content) == (304, b"")
    with opened(photos.browser.get(answer.headers["location"] + "?w=320").content) as small:
        assert max(small.size) <= 320
    assert photos.send(picture()).json() == answer.json()  # sent again, entered once
    assert len(photos.kept()) == 1


def test_one_that_waited_on_a_device_is_entered_once_under_its_own_id_and_moment(photos: Photos) -> None:
    stamp = "?id=a1b2c3d4e5f6&at=2026-05-04T10:00:00.000Z"
    for _ in range(2):  # the answer to the first got lost
        assert photos.send(picture(), q=stamp).status_code == 201
    (photo,) = photos.shop.job(photos.job).state.photos
    assert (photo.entry, photo.at) == ("a1b2c3d4e5f6", "2026-05-04T10:00:00.000Z")
    photos.shop.undo(photos.job, photo.by)
    assert photos.send(picture(), q=stamp).status_code == 201  # a third time, late: what was taken back stays so
    assert photos.kept() == []
    assert photos.send(picture(), q="?id=short").status_code == 422
    assert photos.send(picture(), q="?id=a1b2c3d4e5f6&at=<b>").status_code == 422


def test_a_form_without_any_script_sends_one_too(photos: Photos) -> None:
    token = token_in(photos.browser.get("/").text)
    files = {"photo": ("../../../etc/passwd", picture(), "text/html")}
    data = {"csrf": token, "caption": "Label"}
    headers = {"origin": photos.browser.base}
    answer = photos.browser.client.post(f"/jobs/{photos.job}/photos", data=data, files=files, headers=headers)
    assert answer.status_code == 303
    (photo,) = photos.shop.job(photos.job).state.photos
    assert photo.caption == "Label"
    assert set(photo.photo) <= set("0123456789abcdef")  # nothing of the name that was sent
    assert photos.browser.client.post(f"/jobs/{photos.job}/photos", data=data, headers=headers).status_code == 422


def test_what_is_refused_leaves_nothing_behind(photos: Photos) -> None:
    for content in (b"", b"<html></html>", picture()[:100]):
        assert photos.send(content).status_code == 422
    assert photos.send(b"\0" * 17_000_000).status_code == 413
    assert photos.send(picture(), kind="text/html", token="").status_code == 403
    assert photos.send(picture(), token="").status_code == 403
    assert photos.send(picture(), job="nowhere").status_code == 404
    assert photos.kept() == []


def test_photographs_are_found_by_their_hash_and_by_nothing_else(photos: Photos) -> None:
    name = photos.send(picture()).json()["photo"]
    svg = photos.shop.records.add_photo("image/svg+xml", b"<svg/>")  # such as no page of ours takes in
    tricks = ["../app.py", "..%2f..%2fetc%2fpasswd", name.upper(), name + "%00", name[:-1], "0" * 64, svg, "%2e%2e"]
    assert [t for t in tricks if photos.browser.get(f"/photos/{t}").status_code not in (400, 404)] == []
    assert photos.browser.get(f"/photos/{name}?w=9999").status_code == 422


def test_photographs_are_for_people_of_the_shop(place: Callable[..., Place]) -> None:
    made = place("0.0.0.0")
    made.found()
    photos = Photos(made, signed_in="Tia")
    path = photos.send(picture()).headers["location"]
    assert photos.browser.get(path).status_code == 200
    assert Browser(made).get(path).status_code == 303  # to sign in
