"""The words of alerts and deliveries that are stored."""

from enum import StrEnum


class Closed(StrEnum):
    """How an alert closed."""

    GONE = "gone"  # its cause is gone
    OFF = "off"  # its rule was switched off
    HAND = "hand"  # a person said that it is seen to


class DeliveryState(StrEnum):
    """How far a delivery is."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    ASIDE = "aside"  # it failed for good, and is shown
    DROPPED = "dropped"  # no longer wanted: the alert closed, or the address went, before it was sent


class AddressKind(StrEnum):
    """How an address is reached."""

    EMAIL = "email"
    APPRISE = "apprise"
