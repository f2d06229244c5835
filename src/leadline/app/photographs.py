"""Keep a photograph of an animal or a group: looked at first, dated, without the place where it was taken.

The bytes are kept as they came. Only when they tell where the picture was taken (a GPS position in EXIF or XMP, which
would give away the keeper's home), or may do so where it can't be read, is all taken out of the file that isn't
needed to show it, and only the date and how the camera was set are put back. The picture itself is not coded anew:
its pixels and colours stay to the bit. The maker's note, XMP, texts and a JPEG's further pictures are gone then. The
small picture carries nothing but its colours.

What else there is to do with photographs, the store does: `photos`, `photo_content`, `drop_photo`.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import io
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from leadline.app import describe
from leadline.app.ports import Photo, Store
from leadline.measures.errors import BadInput
from leadline.measures.moments import EARLIEST, UTC, Clock, zone

if TYPE_CHECKING:
    from PIL import Image
    from PIL.Image import Exif

MOST_BYTES = 25_000_000  # judgement: a phone's picture has 2 to 12 MB
MOST_PIXELS = 60_000_000  # judgement: 240 MB of memory while it is read
SMALL_PX = 480  # the longest side of a small picture
_SMALL_QUALITY = 85  # JPEG; judgement
_AHEAD = dt.timedelta(minutes=10)  # as for entries: a clock that runs a little ahead is forgiven

_WHERE = "photograph"
_TYPES = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
_HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"heif", b"mif1", b"msf1")  # ISO/IEC 23008-12, brands

# tags of EXIF 2.32 (CIPA DC-008)
_ORIENTATION, _EXIF_IFD, _GPS_IFD = 0x0112, 0x8769, 0x8825
_TAKEN, _TAKEN_OFFSET = 0x9003, 0x9011  # DateTimeOriginal, OffsetTimeOriginal
_GPS_VERSION = 0  # some cameras write this alone: no position
_GPS_ENTRY = (b"\x88\x25\x00\x04", b"\x25\x88\x04\x00")  # tag and type, in either order of bytes
_EXIF_HEAD = b"Exif\0\0"

# what is put back: make, model, orientation; exposure, f-number, ISO, date, offset, bias, metering, light, flash,
# focal length, colour space, white balance, focal length as in 35 mm, lens
_CAMERA = (0x010F, 0x0110, _ORIENTATION)
_SETTINGS = (
    0x829A, 0x829D, 0x8827, _TAKEN, _TAKEN_OFFSET, 0x9204, 0x9207, 0x9208, 0x9209, 0x920A, 0xA001, 0xA403, 0xA405,
    0xA434,
)  # fmt: skip

# what is needed to show a picture
_JPEG_MARKER = re.compile(rb"\xff[\xc0-\xcf\xd9-\xfe]")  # not the marks within coded pixels
_JPEG_APPS = (0xE0, 0xEE)  # JFIF, Adobe's colour transform
_PNG_CHUNKS = frozenset(
    (b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"cICP", b"sBIT", b"bKGD", b"pHYs", b"acTL", b"fcTL", b"fdAT")
)
_WEBP_CHUNKS = frozenset((b"VP8X", b"VP8 ", b"VP8L", b"ALPH", b"ICCP", b"ANIM", b"ANMF"))


@dataclass(frozen=True, slots=True)
class Picture:
    """What was found in the bytes: size as seen [px], the camera's clock and its offset from UTC as written."""

    media_type: str
    width: int
    height: int
    taken: str
    taken_offset: str
    kept: bytes
    small: bytes


def keep(
    store: Store, clock: Clock, system: str, subject: str, content: bytes, *, taken_at: dt.datetime | None = None,
    note: str = "",
) -> Photo:  # fmt: skip
    """Keep a photograph of an animal or a group (`subject`), and a small picture of it for lists.

    A picture that its subject has already is left as it is, and returned as it was kept.

    Parameters
    ----------
    content
        A JPEG, PNG or WebP file of at most 25 MB and 60 megapixels. See the module for what is kept of it.
    taken_at
        When it was taken. None: what the camera wrote (in the zone that it wrote, else in the system's), or now when
        it wrote nothing, or a moment that cannot be.

    Raises
    ------
    UnknownName
        When there is no such system.
    BadInput
        When the bytes are no such picture, too large or damaged, the subject is empty, or `taken_at` is in the future.
    """
    local = zone(describe.load(store, system).time_zone)
    now = clock.now()
    if not subject.strip():
        raise BadInput("it is not said of what", where=_WHERE, way_out="Name the animal or the group.")
    if taken_at is not None and taken_at > now + _AHEAD:
        raise BadInput(
            f"{taken_at.astimezone(local):%Y-%m-%d %H:%M} lies in the future",
            where=_WHERE,
            way_out="Say when it was taken, or leave it out.",
        )
    picture = _look_at(content)
    if taken_at is None:
        taken_at = _moment(picture.taken, picture.taken_offset, local)
        if taken_at is None or not EARLIEST <= taken_at <= now:
            taken_at = now
    photo = Photo(
        hashlib.blake2b(picture.kept, digest_size=8).hexdigest(), system, subject.strip(),
        min(taken_at.astimezone(UTC), now), now, picture.media_type, picture.width, picture.height, note.strip(),
    )  # fmt: skip
    if store.add_photo(photo, picture.kept, picture.small):
        return photo
    return next((p for p in store.photos(system, photo.subject) if p.id == photo.id), photo)


def cleaned(content: bytes) -> Picture:
    """A picture as `keep` would keep it, but with all taken out that isn't needed to show it, place or no place.

    Nothing that stands before, between or behind the picture's own parts is left, so that no file of another kind
    can hide in it.

    Raises
    ------
    BadInput
        When the bytes are no such picture, too large or damaged.
    """
    return _look_at(content, always=True)


def _look_at(content: bytes, always: bool = False) -> Picture:
    """Read the whole picture, so that what is kept can be shown for ever."""
    if not content:
        raise BadInput("the file is empty", where=_WHERE, way_out="Choose the picture again.")
    if len(content) > MOST_BYTES:
        raise BadInput(
            f"the file has {len(content) / 1e6:.1f} MB, more than {MOST_BYTES / 1e6:.0f} MB",
            where=_WHERE,
            way_out="Save it smaller, or as JPEG, and send that.",
        )
    if content[4:8] == b"ftyp" and content[8:12] in _HEIC:
        raise BadInput(
            "this is a HEIC picture, which cannot be read here",
            where=_WHERE,
            way_out='Export it as JPEG and send that; a phone takes JPEG when its camera is set to "most compatible".',
        )
    from PIL import Image

    with _told(), Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as image:  # reads no pixel yet
        width, height = image.size
        if width * height > MOST_PIXELS:
            raise _too_many_pixels(f"{width} × {height} pixels")
        exif = _exif(image)
        turned = 1 if exif is None else exif.get(_ORIENTATION, 1)
        own = exif.get_ifd(_EXIF_IFD) if exif is not None and _EXIF_IFD in exif else {}
        small = _small(image, turned)  # reads all of it, with what stands behind the pixels
        out = always or _tells_place(image, content, exif)
        kept = _without_place(image.format or "", content, exif) if out else content
    if turned in (5, 6, 7, 8):
        width, height = height, width
    words = [str(own.get(tag, "")).strip("\0 ") for tag in (_TAKEN, _TAKEN_OFFSET)]
    return Picture(_TYPES[image.format or ""], width, height, words[0], words[1], kept, small)


@contextlib.contextmanager
def _told() -> Iterator[None]:
    """Whatever a decoder says of somebody's bytes, as one line."""
    from PIL import Image, UnidentifiedImageError

    try:
        yield
    except (BadInput, MemoryError):
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as exc:
        raise _too_many_pixels("far too many pixels") from exc
    except UnidentifiedImageError as exc:
        raise BadInput(
            "this is no JPEG, PNG or WebP picture", where=_WHERE, way_out="Choose a picture, or save it as JPEG first."
        ) from exc
    except Exception as exc:  # decoders fail in many ways; each of them means that it cannot be shown
        raise BadInput(
            "the picture is damaged or cut short",
            where=_WHERE,
            way_out="Copy it from the camera again, or take another.",
        ) from exc


def _too_many_pixels(what: str) -> BadInput:
    return BadInput(
        f"the picture has {what}, more than {MOST_PIXELS / 1e6:.0f} million",
        where=_WHERE,
        way_out="Save it smaller and send that.",
    )


def _exif(image: Image.Image) -> Exif | None:
    """The camera's data, empty when there is none; None when it can't be read."""
    try:
        exif = image.getexif()
        for part in (_EXIF_IFD, _GPS_IFD):
            if part in exif:  # asked for, one that isn't there would be made
                exif.get_ifd(part)
    except Exception:  # a camera that writes nonsense; the picture may be sound all the same
        return None
    return exif


def _tells_place(image: Image.Image, content: bytes, exif: Exif | None) -> bool:
    """Whether the file says where it was taken, or may say so where we can't read it."""
    if exif is None or _has_position(image, exif):
        return True
    xmp = image.info.get("xmp", b"")
    if b"GPSLatitude" in content or b"GPSLatitude" in (xmp if isinstance(xmp, bytes) else str(xmp).encode()):
        return True
    return image.format == "MPO" and _tells_further_on(content)


def _tells_further_on(content: bytes) -> bool:
    """The same of the further pictures of a JPEG, each of which has data of its own."""
    from PIL import Image

    with Image.open(io.BytesIO(content), formats=("JPEG",)) as image:
        for n in range(1, int(getattr(image, "n_frames", 1))):
            try:
                image.seek(n)
                if _has_position(image, image.getexif()):
                    return True
            except Exception:  # what can't be read is left out
                return True
    return False


def _has_position(image: Image.Image, exif: Exif) -> bool:
    if _GPS_IFD in exif:
        return set(exif.get_ifd(_GPS_IFD)) != {_GPS_VERSION}
    raw = image.info.get("exif", b"")  # torn data are read in part: others may read more
    return any(entry in raw for entry in _GPS_ENTRY)


def _without_place(format: str, content: bytes, exif: Exif | None) -> bytes:
    """The same picture in the same coding, with nothing beside it but its colours and the data of the camera."""
    data = _data_without_place(exif)
    return {"PNG": _png, "WEBP": _webp}.get(format, _jpeg)(content, data)


def _jpeg(content: bytes, data: bytes) -> bytes:
    """Segments up to the end of the first picture (ITU-T T.81, annex B)."""
    kept, at, scanning = [content[:2]], 2, False
    while found := _JPEG_MARKER.search(content, at):
        start = found.start()
        if scanning:
            kept.append(content[at:start])
        marker = content[start + 1]
        if marker == 0xD9:
            break
        at = start + 2 + int.from_bytes(content[start + 2 : start + 4], "big")
        segment = content[start:at]
        aside = 0xE0 <= marker <= 0xEF or marker == 0xFE  # what programs put in, comments
        if not aside or marker in _JPEG_APPS or (marker == 0xE2 and segment.startswith(b"ICC_PROFILE\0", 4)):
            kept.append(segment)
        scanning = scanning or marker == 0xDA
    else:
        kept.append(content[at:])
    if data:
        place = 2 if kept[1].startswith(b"\xff\xe0") else 1  # JFIF's own segment goes first
        kept.insert(place, b"\xff\xe1" + (len(data) + 2).to_bytes(2, "big") + data)
    return b"".join([*kept, b"\xff\xd9"])


def _png(content: bytes, data: bytes) -> bytes:
    """Chunks that show the picture (W3C PNG, 5.3): length, name, content, check."""
    kept, at = [content[:8]], 8
    while at + 12 <= len(content):
        end = at + 12 + int.from_bytes(content[at : at + 4], "big")
        name = content[at + 4 : at + 8]
        if name[:1].isupper() or name in _PNG_CHUNKS:
            kept.append(content[at:end])
        if name == b"IEND":
            break
        at = end
    if data:
        body = b"eXIf" + data.removeprefix(_EXIF_HEAD)
        kept.insert(2, (len(body) - 4).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big"))
    return b"".join(kept)


def _webp(content: bytes, data: bytes) -> bytes:
    """Chunks that show the picture (RFC 9649, 2.3 and 2.7): name, length, content, made even."""
    kept, at = [b"WEBP"], 12
    extended = content[12:16] == b"VP8X"  # else there can be no EXIF
    while at + 8 <= len(content):
        size = int.from_bytes(content[at + 4 : at + 8], "little")
        chunk = content[at : at + 8 + size + size % 2]
        if chunk.startswith(b"VP8X"):  # its first byte says what else there is: 8 EXIF, 4 XMP
            chunk = chunk[:8] + bytes([chunk[8] & ~0x0C | (0x08 if data else 0)]) + chunk[9:]
        if chunk[:4] in _WEBP_CHUNKS:
            kept.append(chunk)
        at += len(chunk)
    if data and extended:
        body = data.removeprefix(_EXIF_HEAD)
        kept.append(b"EXIF" + len(body).to_bytes(4, "little") + body + bytes(len(body) % 2))
    whole = b"".join(kept)
    return b"RIFF" + len(whole).to_bytes(4, "little") + whole


def _data_without_place(exif: Exif | None) -> bytes:
    """How the camera was set, as EXIF of its own."""
    from PIL.Image import Exif

    if exif is None:
        return b""
    plain, whole = Exif(), Exif()
    if isinstance(exif.get(_ORIENTATION), int):
        plain[_ORIENTATION] = exif[_ORIENTATION]
    whole.update({tag: exif[tag] for tag in _CAMERA if tag in exif})
    own = exif.get_ifd(_EXIF_IFD) if _EXIF_IFD in exif else {}
    whole[_EXIF_IFD] = {tag: own[tag] for tag in _SETTINGS if tag in own}
    try:
        data = whole.tobytes()
        if len(data) <= 65_000:  # what fits into one segment of a JPEG
            return data
    except Exception:  # values that can be read and not written
        pass
    return plain.tobytes()


def _small(image: Image.Image, turned: object) -> bytes:
    """A JPEG of at most 480 px, upright, on white where the picture is transparent."""
    from PIL import Image

    image.draft(None, (2 * SMALL_PX, 2 * SMALL_PX))  # a JPEG is read at a half, a quarter or an eighth: less memory
    colours = image.info.get("icc_profile") if image.mode in ("RGB", "RGBA", "P") else None
    picture: Image.Image = image
    if picture.mode.startswith("I;16"):
        picture = picture.point(lambda level: level / 256).convert("L")
    elif picture.mode in ("1", "P", "PA"):  # can't be made smaller smoothly as they are
        picture = picture.convert("RGBA")
    picture.thumbnail((SMALL_PX, SMALL_PX))
    if picture.has_transparency_data:
        picture = picture.convert("RGBA")
        white = Image.new("RGBA", picture.size, "white")
        picture = Image.alpha_composite(white, picture)
    picture = picture.convert("RGB")
    turn = Image.Transpose
    upright = {
        2: turn.FLIP_LEFT_RIGHT, 3: turn.ROTATE_180, 4: turn.FLIP_TOP_BOTTOM, 5: turn.TRANSPOSE,
        6: turn.ROTATE_270, 7: turn.TRANSVERSE, 8: turn.ROTATE_90,
    }  # fmt: skip
    if isinstance(turned, int) and turned in upright:
        picture = picture.transpose(upright[turned])
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=_SMALL_QUALITY, icc_profile=colours, comment=b"")
    return out.getvalue()


def _moment(taken: str, offset: str, local: dt.tzinfo) -> dt.datetime | None:
    """What a camera's clock showed as a moment; None when it is no date.

    A time that the clocks skipped is that of a camera that was not set forward, one that came twice the first.
    """
    try:
        wall = dt.datetime.strptime(taken, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 - the zone is decided below
        with contextlib.suppress(ValueError):
            local = dt.datetime.strptime(offset, "%z").tzinfo or local
        return wall.replace(tzinfo=local).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
