"""Set a phone up: what it needs once, and a live test of what works on it. Open to strangers: a new phone has no account."""

from cryptography.hazmat.primitives.serialization import Encoding
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from company.certificates import fingerprint, root_read
from inventory.calc.qr import matrix_of, path_of


@never_cache
@require_safe
def phone(request: HttpRequest) -> HttpResponse:
    """Show how to set a phone up, and let it test itself."""
    site = settings.SITE_ADDRESS
    plain, secure = settings.LAN_ADDRESS or site, settings.LAN_SECURE_ADDRESS or (site if site.startswith("https://") else "")
    # a shop with a certificate of a public authority has one address for both, and nothing to install
    root = root_read(settings.TLS_FOLDER) if secure and secure != plain else None
    matrix = matrix_of(f"{plain}/phone/") if plain else []
    context = {
        "section": "",
        "secure": secure,
        "plain": plain,
        "here": request.is_secure(),
        "fingerprint": fingerprint(root) if root else "",
        "side": len(matrix),
        "path": path_of(matrix) if matrix else "",
    }
    return render(request, "shows/phone.html", context)


@never_cache
@require_safe
def phone_root(request: HttpRequest) -> HttpResponse:
    """Hand out the shop's root: a certificate, nothing secret."""
    root = root_read(settings.TLS_FOLDER)
    if root is None:
        raise Http404("No root was made here: start with --lan.")
    answer = HttpResponse(root.public_bytes(Encoding.DER), content_type="application/x-x509-ca-cert")
    answer["Content-Disposition"] = 'attachment; filename="shop-root.crt"'
    return answer
