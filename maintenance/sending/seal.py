"""Addresses under the program's key: whoever reads the database alone cannot read them."""

import base64
import hashlib
import hmac
from functools import lru_cache

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

KEY_CHANGED = "The program's secret key is another than when this address was added, so it cannot be read. Add it again."


class SealBrokenError(Exception):
    """The address was sealed under another key."""


def seal(text: str) -> str:
    return _fernet(settings.SECRET_KEY).encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """Return what was sealed; raise SealBrokenError with a sentence if the key has changed."""
    try:
        return _fernet(settings.SECRET_KEY).decrypt(sealed.encode()).decode()
    except InvalidToken:
        raise SealBrokenError(KEY_CHANGED) from None


def fingerprint(text: str) -> str:
    """Return a keyed hash (64 hexadecimal figures), so that the same address is known again without being read."""
    return hmac.new(_key(settings.SECRET_KEY, b"fingerprint of an address"), text.encode(), hashlib.sha256).hexdigest()


@lru_cache(maxsize=4)
def _fernet(secret: str) -> Fernet:
    return Fernet(base64.urlsafe_b64encode(_key(secret, b"address")))


@lru_cache(maxsize=8)
def _key(secret: str, purpose: bytes) -> bytes:
    # one secret, a key of its own for each purpose (RFC 5869)
    return HKDF(algorithm=hashes.SHA256(), length=32, salt=b"knowngood", info=purpose).derive(secret.encode())
