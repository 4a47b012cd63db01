"""Photos: taken in with a limit that holds while the bytes arrive, handed out behind the sign-in."""

from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import redirect
from django.utils.http import parse_etags, quote_etag
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from company.access import technician_required
from inventory.forms_gear import PhotoForm
from inventory.services.items import GearRefused
from inventory.services.photos import MOST_BYTES, TOO_BIG, item_photo_remove, item_photo_set
from inventory.views.item_do import item_or_404


class LimitedUpload(TemporaryFileUploadHandler):
    """Write an upload to disk as it comes, and drop it on the floor once it is over the limit."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.seen = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        self.seen += len(raw_data)
        if self.seen > MOST_BYTES:
            self.request.photo_too_big = True  # type: ignore[union-attr]
            return None
        return super().receive_data_chunk(raw_data, start)  # type: ignore[func-returns-value]

    def file_complete(self, file_size: int) -> UploadedFile | None:
        if self.seen > MOST_BYTES:
            self.file.close()
            return None
        return super().file_complete(file_size)


@require_safe
def item_photo(request: HttpRequest, code: str) -> HttpResponse:
    """Hand out an item's photo, or its small one; a photo never changes under its name, so that a browser may keep it."""
    found = item_or_404(code)
    picture = found.thumbnail if request.GET.get("size") == "small" and found.thumbnail else found.photo
    if not picture:
        raise Http404
    etag = quote_etag(picture.name or "")
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        response: HttpResponse = HttpResponseNotModified()
    else:
        try:
            response = FileResponse(picture.open("rb"), content_type="image/jpeg")  # type: ignore[assignment]
        except FileNotFoundError as gone:
            raise Http404 from gone
    response["ETag"] = etag
    response["Cache-Control"] = "private, max-age=86400"
    return response


@csrf_exempt  # the upload's limit must stand before the form is read; the check itself follows in the inner view
@require_POST
@technician_required
def item_photo_take(request: HttpRequest, code: str) -> HttpResponse:
    """Take in a photo, or take the present one away."""
    request.upload_handlers = [LimitedUpload(request)]
    return _photo_take(request, code)


@csrf_protect
def _photo_take(request: HttpRequest, code: str) -> HttpResponse:
    found = item_or_404(code)
    if request.POST.get("do") == "remove":
        item_photo_remove(item=found)
        messages.success(request, "The photo is gone.")
        return redirect(found)
    form = PhotoForm(request.POST, request.FILES)
    if getattr(request, "photo_too_big", False):
        messages.error(request, TOO_BIG)
    elif not form.is_valid():
        messages.error(request, "Choose a photo first; the one that came was empty.")
    else:
        try:
            item_photo_set(item=found, file=form.cleaned_data["photo"])
        except GearRefused as refused:
            messages.error(request, str(refused))
        else:
            messages.success(request, "The photo is kept.")
            return redirect(found)
    return redirect("item-edit", code=found.code)
