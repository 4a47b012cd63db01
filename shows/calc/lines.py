"""The words of an input list and a stage: which way a line runs, whose the box on it is, what stands at a place."""

from enum import StrEnum


class LineWay(StrEnum):
    """In: to the desk. Out: a mix, the mains, a record."""

    IN = "in"
    OUT = "out"


class Whose(StrEnum):
    """Whose the mic/DI of a line is: only ours goes on our pull list."""

    OURS = "ours"
    PLAYER = "player"
    HOUSE = "house"


class PhantomWish(StrEnum):
    """What a person says of phantom on a line; nothing said: as its mic/DI wants it."""

    AS_NEEDED = ""
    ON = "on"
    OFF = "off"


class Side(StrEnum):
    """Which half of a stereo source a line carries."""

    WHOLE = ""
    LEFT = "left"
    RIGHT = "right"


class PlaceSort(StrEnum):
    """What stands at a place of the stage plan."""

    SOURCE = "source"
    BOX = "stage box"
    MIX = "mix"


class Family(StrEnum):
    """How sources are grouped where one is picked."""

    VOICE = "voice"
    STRINGS = "strings"
    KEYS = "keys"
    WINDS = "winds"
    DRUMS = "drums"
    AMPLIFIER = "amplifier"
    PLAYBACK = "playback"
    WIRELESS = "wireless"
    OUTPUT = "output"


class Sort(StrEnum):
    """What a source is, electrically."""

    RESISTIVE = "resistive"  # a line output, a microphone, an active pickup
    PICKUP = "pickup"  # a coil: resistance and inductance, capacitance and controls across it
    PIEZO = "piezo"  # a capacitor


class Way(StrEnum):
    """How a source comes to the stage: which pickups it takes at all."""

    ELECTRIC = "electric"  # a socket: box, isolator or lead
    ACOUSTIC = "acoustic"  # in the air: a microphone
    LOUDSPEAKER = "loudspeaker"  # an amplifier's loudspeaker output: a box made for it, or a microphone before it
