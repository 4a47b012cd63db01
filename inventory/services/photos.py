"""Photos of items: any picture a phone makes, re-encoded, stripped of what it says about where and when, never huge."""

import io
import logging
import uuid
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import BinaryIO, cast

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models.fields.files import FieldFile
from PIL import Image, ImageOps

from inventory.models import Item
from inventory.services.items import GearRefused

log = logging.getLogger(__name__)

MOST_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 40_000_000
MOST_PIXELS_JPEG = 120_000_000  # a JPEG is decoded at a fraction of its size
LARGE, SMALL = 1600, 360
FORMATS = ("JPEG", "PNG", "WEBP")
TOO_BIG = "That photo is over 20 MB. Send a smaller one: a phone's own photo is enough."
NO_PHOTO = "That is no photo this program can read. Send a JPEG, PNG or WebP; the file may be broken."
# what Pillow raises on broken, truncated or hostile files
_BROKEN = (OSError, SyntaxError, ValueError, EOFError, ZeroDivisionError, IndexError, OverflowError, MemoryError)


def photo_read(file: BinaryIO) -> tuple[bytes, bytes]:
    """Return a picture as a large and a small JPEG, turned the right way up, with no metadata.

    Raises GearRefused for what is broken, no picture, or more pixels than any camera makes.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", Image.DecompressionBombWarning
            )  # the size is judged here, before anything is decoded
            with Image.open(file, formats=FORMATS) as image:
                most = MOST_PIXELS_JPEG if image.format in {"JPEG", "MPO"} else MOST_PIXELS
                if image.width * image.height > most:
                    raise GearRefused("That picture has more pixels than any camera makes. Send a smaller one.")
                image.draft("RGB", (LARGE, LARGE))
                return _encoded(image)
    except GearRefused:
        raise
    except Image.DecompressionBombError as error:
        raise GearRefused("That picture has more pixels than any camera makes. Send a smaller one.") from error
    except _BROKEN as error:
        raise GearRefused(NO_PHOTO) from error


def _encoded(image: Image.Image) -> tuple[bytes, bytes]:
    image.load()
    turned = ImageOps.exif_transpose(image)
    turned.thumbnail((LARGE, LARGE), Image.Resampling.LANCZOS)
    # pasted on a fresh sheet: nothing of the file's metadata can come along, and what was see-through is white
    sheet = Image.new("RGB", turned.size, "white")
    solid = turned.convert("RGBA")
    sheet.paste(solid, mask=solid.getchannel("A"))
    large = _jpeg(sheet, 84)
    sheet.thumbnail((SMALL, SMALL), Image.Resampling.LANCZOS)
    return large, _jpeg(sheet, 80)


def _jpeg(sheet: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    sheet.save(out, "JPEG", quality=quality, optimize=True, progressive=True)
    return out.getvalue()


def item_photo_set(*, item: Item, file: BinaryIO) -> Item:
    """Give an item its photo; the one before is removed once the new one is in the record."""
    large, small = photo_read(file)
    name = uuid.uuid4().hex
    before = [item.photo, item.thumbnail]
    old = [(f.storage, f.name) for f in before if f]
    item.photo.save(f"{name}.jpg", ContentFile(large), save=False)
    item.thumbnail.save(f"{name}-small.jpg", ContentFile(small), save=False)
    with transaction.atomic():
        item.save(update_fields=["photo", "thumbnail"])
        transaction.on_commit(lambda: _remove(old))
    return item


def item_photo_remove(*, item: Item) -> None:
    """Take an item's photo away."""
    old = [(f.storage, f.name) for f in (item.photo, item.thumbnail) if f]
    with transaction.atomic():
        item.photo = item.thumbnail = None
        item.save(update_fields=["photo", "thumbnail"])
        transaction.on_commit(lambda: _remove(old))


@dataclass(frozen=True, kw_only=True)
class ThumbnailsMade:
    """How many small pictures were made, and the items whose photo cannot be read."""

    made: int
    unreadable: list[str]


def thumbnails_make(*, most: int = 10_000, progress: Callable[[int, int], None] | None = None) -> ThumbnailsMade:
    """Make small pictures for items that have a photo and none, or whose small one is gone from the disk.

    Safe to run twice, and at once: an item whose photo was changed meanwhile is left alone.
    """
    missing = [item for item in Item.objects.exclude(photo="").exclude(photo=None).order_by("pk") if not _there(item.thumbnail)]
    made, unreadable = 0, []
    for number, item in enumerate(missing[:most], start=1):
        try:
            with item.photo.open("rb") as file:
                _large, small = photo_read(cast(BinaryIO, file))
        except (OSError, GearRefused) as error:
            log.warning("The photo of %s gives no small picture: %s", item.code, error)
            unreadable.append(item.code)
            continue
        name = item.thumbnail.storage.save(f"{item.thumbnail.field.upload_to}{uuid.uuid4().hex}-small.jpg", ContentFile(small))
        if Item.objects.filter(pk=item.pk, photo=item.photo.name).update(thumbnail=name):
            made += 1
        else:
            item.thumbnail.storage.delete(name)
        if progress is not None:
            progress(number, len(missing))
    return ThumbnailsMade(made=made, unreadable=unreadable)


def _there(file: FieldFile) -> bool:
    return bool(file.name) and file.storage.exists(str(file.name))


def _remove(files: list) -> None:
    for storage, name in files:
        storage.delete(name)
