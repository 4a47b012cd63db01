"""Where a request comes from."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str | None:
    """Return the address of the other side; behind a reverse proxy of our own, the last one that proxy wrote."""
    address = request.META.get("REMOTE_ADDR", "")
    if settings.BEHIND_PROXY:
        address = request.headers.get("X-Forwarded-For", "").rpartition(",")[2].strip() or address
    try:
        return str(ip_address(address))
    except ValueError:  # a Unix socket has none
        return None


def from_this_machine(request: HttpRequest) -> bool:
    """Say whether the request began on this machine; one that was passed on did not, unless our own proxy says so."""
    passed_on = any(name in request.headers for name in ("Forwarded", "X-Forwarded-For", "X-Real-IP", "Via"))
    if passed_on and not settings.BEHIND_PROXY:
        return False
    address = client_address(request)
    return address is not None and is_loopback(address)


def is_loopback(host: str) -> bool:
    """Say whether a host name or address to listen on is reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False
