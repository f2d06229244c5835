"""A keeper's photographs: dated, turned, without the place, and only what can be shown again."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import re
import struct
import zlib
from typing import Any

import pytest
from PIL import Image, ImageCms, ImageStat
from PIL.Image import Exif
from PIL.PngImagePlugin import PngInfo
from PIL.TiffImagePlugin import IFDRational
from tests.app.keeper import NOW, SMALL, Keeper

from leadline.app import describe, photographs, safeguard
from leadline.app.ports import Photo
from leadline.measures.errors import BadInput, UnknownName
from leadline.measures.moments import UTC
from leadline.store.restore import restore
from leadline.store.sqlite import SqliteStore

pytestmark = pytest.mark.story

LATITUDE = 59_123_457  # in millionths of a degree: four bytes that stand nowhere else in the file
KINDS = ["JPEG", "PNG", "WEBP"]
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def scene(width: int = 600, height: int = 400) -> Image.Image:
    """Red on the left, blue on the right, a green bar on top."""
    made = Image.new("RGB", (width, height), "blue")
    made.paste("red", (0, 0, width // 2, height))
    made.paste("lime", (0, 0, width, height // 5))
    return made


def camera(taken: str = "", offset: str = "", turned: int = 0, place: bool = False, version_only: bool = False) -> Exif:
    """What a camera writes; the tags are those of EXIF 2.32."""
    exif = Exif()
    exif[0x0110] = "An old camera"
    if turned:
        exif[0x0112] = turned
    own = exif.get_ifd(0x8769)
    own[0x829A] = IFDRational(1, 125)
    own[0x927C] = b"MAKER" + bytes(range(64))
    if taken:
        own[0x9003] = taken
    if offset:
        own[0x9011] = offset
    if place:
        north = IFDRational(LATITUDE, 1_000_000)
        exif[0x8825] = {0: b"\2\3\0\0", 1: "N", 2: (north, 0.0, 0.0), 3: "E", 4: (10.75, 0.0, 0.0)}
    if version_only:
        exif[0x8825] = {0: b"\2\3\0\0"}
    return exif


def saved(image: Image.Image, kind: str = "JPEG", **more: Any) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


def bytes_of(keeper: Keeper, photo: Photo, small: bool = False) -> bytes:
    found = keeper.store.photo_content(photo.id, small=small)
    assert found is not None
    assert found[0] == ("image/jpeg" if small else photo.media_type)
    return found[1]


def keep(keeper: Keeper, content: bytes, subject: str = "coral-7", **more: Any) -> Photo:
    return photographs.keep(keeper.store, keeper.clock, keeper.system, subject, content, **more)


def refused(keeper: Keeper, what: str, content: bytes, **more: Any) -> None:
    """One line that says what, where, and what to do; nothing is kept."""
    with pytest.raises(BadInput, match=what) as caught:
        keep(keeper, content, **more)
    assert "\n" not in str(caught.value)
    assert caught.value.where == "photograph"
    assert caught.value.way_out.endswith(".")
    assert keeper.store.photos() == []


def tells_place(content: bytes) -> bool:
    """Whether the position can be found: by its tag, or by its very bytes in either order."""
    if 0x8825 in opened(content).getexif() or b"GPS" in content:
        return True
    return any(struct.pack(order + "L", LATITUDE) in content for order in "<>")


# what is kept


@pytest.mark.parametrize(("kind", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")])
def test_a_picture_is_kept_to_the_byte(keeper: Keeper, kind: str, media_type: str) -> None:
    content = saved(scene(), kind, exif=camera("2026:02:14 18:30:00"))
    kept = keep(keeper, content, note=" first polyp ")
    assert kept == Photo(
        hashlib.blake2b(content, digest_size=8).hexdigest(), "small", "coral-7",
        dt.datetime(2026, 2, 14, 17, 30, tzinfo=UTC),  # Oslo in winter: UTC+1
        NOW, media_type, 600, 400, "first polyp",
    )  # fmt: skip
    assert bytes_of(keeper, kept) == content
    assert keeper.store.photos("small", "coral-7") == [kept]


def test_it_survives_reopening_backup_and_restore(keeper: Keeper) -> None:
    content = saved(scene(), exif=camera("2026:02:14 18:30:00", turned=6))
    kept, copy, elsewhere = keep(keeper, content), keeper.path.with_name("copy.db"), keeper.path.with_name("other.db")
    safeguard.backup(keeper.store, str(copy), keeper.clock)
    safeguard.restore(restore, str(copy), str(elsewhere), keeper.clock)
    keeper.close()
    for file in (keeper.path, elsewhere):
        with SqliteStore.open(file, clock=keeper.clock, write=False) as store:
            assert store.photos() == [kept]
            assert store.photo_content(kept.id) == ("image/jpeg", content)


def test_the_same_picture_again_is_the_one_that_is_there(keeper: Keeper) -> None:
    content = saved(scene())
    first = keep(keeper, content, note="first")
    keeper.clock.moment = NOW + dt.timedelta(days=1)
    assert keep(keeper, content, note="second") == first
    other = keep(keeper, content, subject="clownfish")
    assert (other.id, other.subject) == (first.id, "clownfish")
    assert len(keeper.store.photos()) == 2


# when it was taken


@pytest.mark.parametrize(
    ("taken", "offset", "expected"),
    [
        ("2026:05:14 18:30:00", "", dt.datetime(2026, 5, 14, 16, 30, tzinfo=UTC)),  # Oslo in summer: UTC+2
        ("2026:05:14 18:30:00", "+09:00", dt.datetime(2026, 5, 14, 9, 30, tzinfo=UTC)),  # on a journey
        ("2026:05:14 18:30:00", "nonsense", dt.datetime(2026, 5, 14, 16, 30, tzinfo=UTC)),
        ("2026:03:29 02:30:00", "", dt.datetime(2026, 3, 29, 1, 30, tzinfo=UTC)),  # a camera not set forward
        ("2025:10:26 02:30:00", "", dt.datetime(2025, 10, 26, 0, 30, tzinfo=UTC)),  # came twice: the first
        ("0000:00:00 00:00:00", "", NOW),
        ("1970:01:01 00:00:00", "", NOW),  # a clock that was never set
        ("0001:01:01 00:00:00", "", NOW),
        ("yesterday", "", NOW),
        ("2026:06:01 10:00:01", "", NOW),  # a second ahead of now in Oslo
        ("2031:01:01 00:00:00", "", NOW),
        ("", "", NOW),
    ],
)
def test_the_camera_says_when_and_never_in_the_future(
    keeper: Keeper, taken: str, offset: str, expected: dt.datetime
) -> None:
    kept = keep(keeper, saved(scene(), exif=camera(taken, offset)))
    assert (kept.taken_at, kept.added_at) == (expected, NOW)
    assert kept.taken_at.tzinfo is UTC


def test_the_keeper_s_word_goes_before_the_camera_s(keeper: Keeper) -> None:
    content = saved(scene(), exif=camera("2026:02:14 18:30:00"))
    said = dt.datetime(2026, 4, 1, 12, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    assert keep(keeper, content, taken_at=said).taken_at == dt.datetime(2026, 4, 1, 10, tzinfo=UTC)
    ahead = keep(keeper, content, subject="fish", taken_at=NOW + dt.timedelta(minutes=3))
    assert ahead.taken_at == NOW  # a clock that runs a little ahead


def test_the_zone_is_that_of_the_system(keeper: Keeper) -> None:
    document = SMALL.format(volume_sd=40.0).replace('id = "small"', 'id = "far"').replace("Europe/Oslo", "Asia/Tokyo")
    describe.add(keeper.store, keeper.clock, document)
    content = saved(scene(), exif=camera("2026:02:14 18:30:00"))
    kept = photographs.keep(keeper.store, keeper.clock, "far", "coral-7", content)
    assert kept.taken_at == dt.datetime(2026, 2, 14, 9, 30, tzinfo=UTC)  # Tokyo: UTC+9


# the small picture


def colours_at(small: Image.Image) -> dict[str, str]:
    """The colour near the middle of each edge."""
    width, height = small.size
    places = {
        "left": (8, height * 2 // 3),
        "right": (width - 8, height * 2 // 3),
        "top": (width // 2, 8),
        "bottom": (width // 3, height - 8),
    }
    named = {"red": (255, 0, 0), "blue": (0, 0, 255), "lime": (0, 255, 0), "white": (255, 255, 255)}
    found = {}
    for edge, at in places.items():
        r, g, b = small.convert("RGB").getpixel(at)  # type: ignore[misc]
        found[edge] = min(named, key=lambda n: (named[n][0] - r) ** 2 + (named[n][1] - g) ** 2 + (named[n][2] - b) ** 2)
    return found


# what must be done to an upright scene so that the orientation of the file turns it back (EXIF 2.32, tag 0x0112)
STORED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}  # fmt: skip


@pytest.mark.parametrize("turned", [0, *range(1, 9), 9])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", [False, True])
def test_it_is_upright_and_small_however_the_camera_was_held(
    keeper: Keeper, turned: int, kind: str, place: bool
) -> None:
    upright = scene(900, 600)
    stored = upright.transpose(STORED[turned]) if turned in STORED else upright
    kept = keep(keeper, saved(stored, kind, exif=camera(turned=turned, place=place)))
    assert (kept.width, kept.height) == (900, 600)
    small = opened(bytes_of(keeper, kept, small=True))
    assert (small.format, small.mode, small.size) == ("JPEG", "RGB", (480, 320))
    assert colours_at(small) == {"left": "red", "right": "blue", "top": "lime", "bottom": "red"}
    assert dict(small.getexif()) == {}
    large = opened(bytes_of(keeper, kept))
    assert large.size == stored.size
    assert large.getexif().get(0x0112, 0) == turned  # whoever shows the large one turns it


@pytest.mark.parametrize(
    ("size", "expected"), [((100, 50), (100, 50)), ((300, 6000), (24, 480)), ((4000, 1), (480, 1))]
)
def test_its_longest_side_is_at_most_480(keeper: Keeper, size: tuple[int, int], expected: tuple[int, int]) -> None:
    kept = keep(keeper, saved(Image.new("RGB", size, "red"), "PNG"))
    assert opened(bytes_of(keeper, kept, small=True)).size == expected


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA", "I;16", "CMYK"])
def test_every_kind_of_pixels_has_a_small_picture(keeper: Keeper, mode: str) -> None:
    if mode == "I;16":
        image = Image.frombytes(mode, (600, 400), b"\x00\x80" * 240_000)
    elif mode == "P":
        image = scene().quantize(8)
        image.info["transparency"] = 255
    else:
        image = Image.new("L", (600, 400), 128).convert(mode) if mode != "RGBA" else Image.new(mode, (600, 400))
    small = opened(bytes_of(keeper, keep(keeper, saved(image, "JPEG" if mode == "CMYK" else "PNG")), small=True))
    assert (small.mode, small.size) == ("RGB", (480, 320))
    mean = ImageStat.Stat(small).mean
    if mode == "RGBA":
        assert min(mean) > 254  # nothing but transparent: white
    elif mode == "P":
        assert colours_at(small)["left"] == "red"
    else:
        assert all(abs(level - 128) < 8 for level in mean)  # mid-grey, as it was


def test_its_colours_are_those_of_the_camera(keeper: Keeper) -> None:
    for place in (False, True):
        kept = keep(keeper, saved(scene(700 + place), icc_profile=SRGB, exif=camera(place=place)))
        for small in (False, True):
            assert opened(bytes_of(keeper, kept, small)).info["icc_profile"] == SRGB


# the place


@pytest.mark.parametrize("kind", KINDS)
def test_the_place_is_taken_out_and_the_picture_stays(keeper: Keeper, kind: str) -> None:
    content = saved(scene(), kind, exif=camera("2026:02:14 18:30:00", "+01:00", turned=1, place=True))
    assert tells_place(content)
    kept = keep(keeper, content)
    there = bytes_of(keeper, kept)
    assert not tells_place(there)
    assert not tells_place(bytes_of(keeper, kept, small=True))
    assert kept.id == hashlib.blake2b(there, digest_size=8).hexdigest()
    assert kept.taken_at == dt.datetime(2026, 2, 14, 17, 30, tzinfo=UTC)
    before, after = opened(content), opened(there)
    assert (after.format, after.size, after.mode) == (before.format, before.size, before.mode)
    assert after.getexif()[0x0110] == "An old camera"
    own = after.getexif().get_ifd(0x8769)
    assert (own[0x9003], own[0x829A]) == ("2026:02:14 18:30:00", 1 / 125)
    assert 0x927C in before.getexif().get_ifd(0x8769)
    assert 0x927C not in own  # the maker's note, which may tell the place in the maker's own way
    assert b"MAKER" not in there
    assert before.tobytes() == after.tobytes()
    assert keep(keeper, content) == kept  # the same again is known again


NOISE = Image.effect_noise((123, 77), 60)
COLOURED = Image.merge("RGB", (NOISE, NOISE.transpose(Image.Transpose.ROTATE_180), NOISE))


@pytest.mark.parametrize(
    ("image", "kind", "how"),
    [
        (COLOURED, "JPEG", {"quality": 35, "subsampling": 2}),
        (COLOURED, "JPEG", {"quality": 97, "subsampling": 0, "progressive": True}),
        (COLOURED, "JPEG", {"restart_marker_blocks": 2, "comment": b"GPSLatitude"}),
        (COLOURED, "JPEG", {"icc_profile": SRGB, "dpi": (300, 300)}),
        (COLOURED.convert("CMYK"), "JPEG", {}),
        (NOISE, "JPEG", {}),
        (NOISE, "PNG", {}),
        (COLOURED, "PNG", {"icc_profile": SRGB}),
        (COLOURED.quantize(16), "PNG", {"transparency": 3}),
        (Image.frombytes("I;16", (41, 30), bytes(range(246)) * 10), "PNG", {}),
        (COLOURED, "WEBP", {"quality": 20}),
        (COLOURED, "WEBP", {"lossless": True, "icc_profile": SRGB}),
        (Image.merge("RGBA", (NOISE, NOISE, NOISE, NOISE)), "WEBP", {"quality": 60}),
    ],
    ids=lambda x: x if isinstance(x, str) else ",".join(x) if isinstance(x, dict) else x.mode,
)
def test_pixels_and_colours_stay_to_the_bit_where_the_place_goes(
    keeper: Keeper, image: Image.Image, kind: str, how: dict[str, Any]
) -> None:
    content = saved(image, kind, exif=camera(turned=8, place=True), **how)
    there = bytes_of(keeper, keep(keeper, content))
    before, after = opened(content), opened(there)
    assert tells_place(content)
    assert not tells_place(there)
    assert after.tobytes() == before.tobytes()
    assert (after.mode, after.getpalette()) == (before.mode, before.getpalette())
    for name in ("icc_profile", "transparency", "progressive"):
        assert after.info.get(name) == before.info.get(name), name
    assert after.getexif()[0x0112] == 8
    if kind == "JPEG":
        assert after.quantization == before.quantization  # type: ignore[attr-defined]


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_a_moving_picture_still_moves_without_its_place(keeper: Keeper, kind: str) -> None:
    frames = [COLOURED, COLOURED.transpose(Image.Transpose.ROTATE_180)]
    content = saved(frames[0], kind, save_all=True, append_images=frames[1:], exif=camera(place=True))
    there = bytes_of(keeper, keep(keeper, content))
    assert not tells_place(there)
    before, after = opened(content), opened(there)
    assert after.n_frames == 2  # type: ignore[attr-defined]
    for n in range(2):
        before.seek(n)
        after.seek(n)
        assert after.tobytes() == before.tobytes()


def test_what_stands_behind_the_picture_goes_with_its_place(keeper: Keeper) -> None:
    for kind in ("JPEG", "PNG"):
        content = saved(COLOURED, kind, exif=camera(place=True))
        there = bytes_of(
            keeper, keep(keeper, content + b"\0\0\0\x18ftypmp42 a film of the same moment, with its place")
        )
        assert b"ftyp" not in there
        assert opened(there).tobytes() == opened(content).tobytes()


def test_the_bare_version_of_gps_is_no_place(keeper: Keeper) -> None:
    content = saved(scene(), exif=camera(version_only=True))
    assert bytes_of(keeper, keep(keeper, content)) == content


@pytest.mark.parametrize("kind", KINDS)
def test_a_place_in_xmp_goes_too(keeper: Keeper, kind: str) -> None:
    words = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><d exif:GPSLatitude="59,7.407N"/></x:xmpmeta>'
    if kind == "PNG":
        info = PngInfo()
        info.add_itxt("XML:com.adobe.xmp", words.decode(), zip=True)
        content = saved(scene(), kind, pnginfo=info)
        assert b"GPSLatitude" not in content  # it is packed
    else:
        content = saved(scene(), kind, xmp=words, exif=camera())
    assert opened(content).info["xmp"] == words
    kept = opened(there := bytes_of(keeper, keep(keeper, content)))
    assert "xmp" not in kept.info
    assert b"GPS" not in there


def test_a_place_in_a_second_picture_of_the_file_goes_too(keeper: Keeper) -> None:
    second = scene(320, 240)
    second.encoderinfo = {"exif": camera(place=True).tobytes()}  # type: ignore[attr-defined]
    content = saved(scene(), "MPO", save_all=True, append_images=[second], exif=camera("2026:02:14 18:30:00"))
    before = opened(content)
    assert before.format == "MPO"
    assert struct.pack("<L", LATITUDE) in content or struct.pack(">L", LATITUDE) in content
    assert 0x8825 not in before.getexif()
    kept = keep(keeper, content)
    after = opened(there := bytes_of(keeper, kept))
    assert not tells_place(there)
    assert (kept.media_type, after.format, after.size) == ("image/jpeg", "JPEG", (600, 400))
    assert kept.taken_at == dt.datetime(2026, 2, 14, 17, 30, tzinfo=UTC)


def test_two_pictures_in_one_file_without_a_place_are_kept_as_they_came(keeper: Keeper) -> None:
    content = saved(scene(), "MPO", save_all=True, append_images=[scene(320, 240)], exif=camera())
    kept = keep(keeper, content)
    assert (kept.media_type, kept.width, kept.height) == ("image/jpeg", 600, 400)
    assert bytes_of(keeper, kept) == content


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")  # Pillow says so, and reads what it can
@pytest.mark.parametrize("kind", KINDS)
def test_camera_data_that_cannot_be_read_does_no_harm(keeper: Keeper, kind: str) -> None:
    head = b"Exif\0\0MM\0*\0\0\0\x08\0\x05"
    for n, torn in enumerate((head + b"\xff" * 15, b"Exif\0\0no camera writes this", head[:9])):
        content = saved(scene(600 + n), kind, exif=torn)
        kept = keep(keeper, content)
        assert (kept.width, kept.taken_at) == (600 + n, NOW)
        assert opened(bytes_of(keeper, kept)).tobytes() == opened(content).tobytes()
    # torn just where the place would be read: what another program might read of it is gone
    place = head + b"\xff" * 6 + b"\x88\x25\0\4\0\0\0\1\0\0\0\x30"
    there = bytes_of(keeper, keep(keeper, saved(scene(), kind, exif=place)))
    assert b"\x88\x25\0\4" not in there


def test_camera_data_too_long_for_one_segment(keeper: Keeper) -> None:
    exif = camera(turned=6, place=True)
    exif.get_ifd(0x8769)[0xA434] = "A long lens" * 7000
    there = bytes_of(keeper, keep(keeper, saved(scene(), "PNG", exif=exif)))
    assert not tells_place(there)
    assert opened(there).getexif()[0x0112] == 6


# what is refused


def chunk(name: bytes, data: bytes) -> bytes:
    """A chunk of a PNG: length, name, data, checksum (W3C PNG, 5.3)."""
    return struct.pack(">L", len(data)) + name + data + struct.pack(">L", zlib.crc32(name + data))


def claiming(width: int, height: int) -> bytes:
    """A PNG of some hundred bytes that says it is huge."""
    head = struct.pack(">LLBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IDAT", zlib.compress(bytes(1000)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + body + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(60_000, 60_000), (2**31 - 1, 2**31 - 1), (10_000, 10_000), (7_746, 7_746)])
def test_a_bomb_is_refused_before_it_is_read(keeper: Keeper, size: tuple[int, int]) -> None:
    assert len(claiming(*size)) < 200
    refused(keeper, "pixels, more than 60 million", claiming(*size))


def test_a_bomb_in_the_texts_is_refused(keeper: Keeper) -> None:
    text = chunk(b"zTXt", b"Comment\0\0" + zlib.compress(bytes(80_000_000), 9))
    whole = saved(scene(), "PNG")
    refused(keeper, "damaged", whole[:33] + text + whole[33:])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", [False, True])
@pytest.mark.parametrize("part", [0.02, 0.3, 0.6, 0.9])
def test_a_picture_cut_short_is_refused(keeper: Keeper, kind: str, place: bool, part: float) -> None:
    noise = Image.effect_noise((500, 400), 60).convert("RGB")
    whole = saved(noise, kind, exif=camera(place=place))
    refused(keeper, "damaged or cut short", whole[: int(len(whole) * part)])


def test_what_is_no_picture_is_refused(keeper: Keeper) -> None:
    refused(keeper, "the file is empty", b"")
    gif = saved(scene(), "GIF")
    for content in (b"time,system,kind\n", b"%PDF-1.7\n" * 50, b"<svg/>", b"\xff\xd8", gif, saved(scene(), "TIFF")):
        refused(keeper, "no JPEG, PNG or WebP picture", content)


@pytest.mark.parametrize("brand", [b"heic", b"mif1", b"hevc"])
def test_heic_is_told_what_to_do(keeper: Keeper, brand: bytes) -> None:
    refused(keeper, "HEIC.*Export it as JPEG", b"\0\0\0\x18ftyp" + brand + b"\0\0\0\0mif1heic" + bytes(100))


def test_a_file_of_more_than_25_mb_is_refused(keeper: Keeper) -> None:
    whole = saved(scene())
    refused(keeper, r"25\.1 MB, more than 25 MB", whole + bytes(25_100_000 - len(whole)))


def test_the_future_the_unnamed_and_the_unknown_are_refused(keeper: Keeper) -> None:
    content = saved(scene())
    refused(keeper, "2026-06-02 10:00 lies in the future", content, taken_at=NOW + dt.timedelta(days=1))
    refused(keeper, "not said of what", content, subject=" ")
    with pytest.raises(UnknownName, match=re.escape("'smal'. Did you mean small?")):
        photographs.keep(keeper.store, keeper.clock, "smal", "coral-7", content)
    assert keeper.store.photos() == []


def test_a_sound_picture_after_a_refused_one(keeper: Keeper) -> None:
    refused(keeper, "damaged", saved(scene(), exif=camera())[:900])
    kept = keep(keeper, saved(scene()))
    assert keeper.store.photos() == [kept]
