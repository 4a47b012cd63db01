"""What every part of the HTTP API shares: who is asking, how a body is read, the one shape of an error, and checked types."""

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI, Schema
from ninja.errors import AuthenticationError, HttpError, ValidationError
from ninja.parser import Parser
from ninja.security import APIKeyCookie, HttpBearer
from pydantic import AfterValidator, AwareDatetime, Field

from company.api_words import plain
from company.clock import now
from company.models import ApiToken, Person

TOKEN_USED_EVERY_S = 600  # a token's last use is written at most this often: a read must not cost a write


class SessionPerson(APIKeyCookie):
    """Someone signed in on a page; a write needs the CSRF token, as a form does."""

    param_name = "knowngood"

    def __call__(self, request: HttpRequest) -> Person | None:
        if not request.user.is_authenticated:
            return None  # nobody is asking: 401, before a word about CSRF that tells a script nothing
        try:
            return super().__call__(request)
        except HttpError as error:
            if "CSRF" not in str(error):
                raise  # another refusal, in words of its own
            raise HttpError(
                403, "A write from a page needs the page's CSRF token (X-CSRFToken); from a program, send a token instead."
            ) from None

    def authenticate(self, request: HttpRequest, key: str | None) -> Person | None:
        return request.user if request.user.is_authenticated else None


class TokenPerson(HttpBearer):
    """Someone who carries a token made by `manage.py api_token` or on their own page."""

    def authenticate(self, request: HttpRequest, token: str) -> Person | None:
        found = (
            ApiToken.objects.select_related("person")
            .filter(digest=ApiToken.hash_of(token), withdrawn_at=None, person__is_active=True)
            .first()
        )
        if found is None:
            return None
        at = now()
        if found.used_at is None or (at - found.used_at).total_seconds() > TOKEN_USED_EVERY_S:
            ApiToken.objects.filter(pk=found.pk).update(used_at=at)
        return found.person


class JsonBody(Parser):
    """Read a JSON body; what is no JSON, or nests without end, is kept as `request.unreadable` for the error's sentence."""

    def parse_body(self, request: HttpRequest) -> Any:
        # an exception here would be turned into the library's own 400, so the sentence travels on the request
        try:
            return json.loads(request.body)
        except RecursionError:
            request.unreadable = "The body nests too deep to be read."
        except ValueError:
            request.unreadable = "The body is not JSON."
        return None


class Problem(Schema):
    """The one shape of an error: which field, and a sentence."""

    field: str = ""
    detail: str


PROBLEMS: dict[int, Any] = {
    401: Problem,
    403: Problem,
    404: Problem,
    413: Problem,
    422: Problem,
    503: Problem,
}


def _clean_text(value: str) -> str:
    if "\x00" in value:
        raise ValueError("The text holds a NUL character.")
    try:
        value.encode()
    except UnicodeEncodeError:
        raise ValueError("The text holds half a character (a lone surrogate).") from None
    return value


def _in_utc(value: datetime) -> datetime:
    try:
        return value.astimezone(UTC)
    except OverflowError:
        raise ValueError("That time lies outside the years 1 to 9999.") from None


CleanText = Annotated[str, AfterValidator(_clean_text)]
Instant = Annotated[AwareDatetime, AfterValidator(_in_utc)]
Limit = Annotated[int, Field(ge=1, le=200)]
Offset = Annotated[int, Field(ge=0, le=10_000_000)]


class _TechnicianSession(SessionPerson):
    """As SessionPerson, of a technician or owner."""

    def __init__(self, said: str) -> None:
        self.said = said
        super().__init__()

    def authenticate(self, request: HttpRequest, key: str | None) -> Person | None:
        return _technician(super().authenticate(request, key), self.said)


class _TechnicianToken(TokenPerson):
    """As TokenPerson, of a technician or owner."""

    def __init__(self, said: str) -> None:
        self.said = said
        super().__init__()

    def authenticate(self, request: HttpRequest, token: str) -> Person | None:
        return _technician(super().authenticate(request, token), self.said)


def _technician(person: Person | None, said: str) -> Person | None:
    if person is not None and not person.is_technician:
        raise HttpError(403, said)
    return person


def technicians_alone(said: str) -> list[Any]:
    """Return the `auth` of a call for technicians: anybody else is told so with 403 before the body is looked at."""
    return [_TechnicianToken(said), _TechnicianSession(said)]


def person_of(request: HttpRequest) -> Person:
    """Return who is asking, whether by session or by token."""
    return request.auth


def add_error_shape(api: NinjaAPI) -> None:
    """Make every error of the API come in the one shape."""

    def said(request: HttpRequest, status: int, detail: str, field: str = "") -> HttpResponse:
        return api.create_response(request, {"field": field, "detail": detail}, status=status)

    @api.exception_handler(RequestDataTooBig)
    def too_big(request: HttpRequest, error: RequestDataTooBig) -> HttpResponse:
        return said(request, 413, "That is too much at once. Send half of it.")

    @api.exception_handler(ValidationError)
    def invalid(request: HttpRequest, error: ValidationError) -> HttpResponse:
        if hasattr(request, "unreadable"):
            return said(request, 422, request.unreadable)
        if request.method == "POST" and not request.body:
            return said(request, 422, "The body is not JSON: it is empty.")
        first = error.errors[0]
        # the first two parts say "body" and the parameter's name: of no use to who sent it
        where = [str(part) for part in first["loc"]]
        field = ".".join(where[2:] or where[-1:])
        return said(request, 422, plain(first), field)

    @api.exception_handler(AuthenticationError)
    def stranger(request: HttpRequest, error: AuthenticationError) -> HttpResponse:
        return said(request, 401, "Sign in, or send a token: Authorization: Bearer TOKEN.")

    @api.exception_handler(HttpError)
    def refused(request: HttpRequest, error: HttpError) -> HttpResponse:
        return said(request, error.status_code, str(error))

    @api.exception_handler(Http404)
    def nothing(request: HttpRequest, error: Http404) -> HttpResponse:
        return said(request, 404, str(error) or "The record knows no such thing.")
