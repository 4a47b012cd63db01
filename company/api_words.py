"""What is wrong with a value that was sent, in our words: a caller shows them to a person as they are."""

from collections.abc import Mapping
from typing import Any

_WHEN = "2026-09-25T09:00:00+01:00"
_PLAIN = {
    "missing": "This is needed.",
    "float_parsing": "That is no number.",
    "float_type": "That is no number.",
    "int_parsing": "That is no whole number.",
    "int_parsing_size": "That number is too large.",
    "int_type": "That is no whole number.",
    "int_from_float": "That is no whole number.",
    "finite_number": "A number here is finite.",
    "bool_parsing": "Say true or false.",
    "bool_type": "Say true or false.",
    "uuid_parsing": "An id is a UUID: make a new one for each thing that is sent.",
    "uuid_type": "An id is a UUID: make a new one for each thing that is sent.",
    "timezone_aware": f"A time needs its time zone, as {_WHEN}.",
    "datetime_parsing": f"A time is written as {_WHEN}.",
    "datetime_from_date_parsing": f"A time is written as {_WHEN}.",
    "datetime_type": f"A time is written as {_WHEN}.",
    "datetime_object_invalid": f"A time is written as {_WHEN}.",
    "date_parsing": "A day is written as 2026-09-25.",
    "date_from_datetime_parsing": "A day is written as 2026-09-25.",
    "date_type": "A day is written as 2026-09-25.",
    "string_type": "This is a text.",
    "string_unicode": "The text holds half a character (a lone surrogate).",
    "list_type": "This is a list.",
    "dict_type": "This is an object with named values.",
    "model_type": "This is an object with named values.",
    "model_attributes_type": "This is an object with named values.",
    "extra_forbidden": "Nothing of that name is taken here.",
}
_WITH = {
    "string_too_long": "Keep it to {max_length} characters.",
    "string_too_short": "At least {min_length} characters.",
    "greater_than": "This is more than {gt}.",
    "greater_than_equal": "This is {ge} or more.",
    "less_than": "This is less than {lt}.",
    "less_than_equal": "This is {le} or less.",
    "too_long": "At most {max_length} at once.",
    "too_short": "At least {min_length}.",
    "enum": "This is one of {expected}.",
    "literal_error": "This is one of {expected}.",
}


def plain(error: Mapping[str, Any]) -> str:
    """Return the sentence for one error of the checking library: ours, or its own as the last resort."""
    kind, ctx = str(error.get("type", "")), error.get("ctx") or {}
    if kind in _PLAIN:
        return _PLAIN[kind]
    if kind == "too_long" and ctx.get("field_type") != "List":
        kind = "string_too_long"
    if kind in _WITH:
        try:
            return _WITH[kind].format(**ctx)
        except KeyError:
            pass
    return str(error.get("msg", "That cannot be read")).removeprefix("Value error, ").rstrip(".") + "."
