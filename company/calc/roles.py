"""Who may do what: three roles, each able to do all that the ones before it can."""

from enum import StrEnum


class Role(StrEnum):
    HAND = "hand"
    TECHNICIAN = "technician"
    OWNER = "owner"


_ORDER = [Role.HAND, Role.TECHNICIAN, Role.OWNER]


def at_least(role: str, wanted: str) -> bool:
    """Say whether `role` may do what `wanted` may do; an unknown role may do nothing."""
    try:
        return _ORDER.index(Role(role)) >= _ORDER.index(Role(wanted))
    except ValueError:
        return False
