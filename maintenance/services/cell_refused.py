"""The word for what cannot be written down about cells."""


class CellRefused(ValueError):  # noqa: N818 (a word of the house)
    """It cannot be kept as sent: `field` names what is wrong, the words say why, `anyway` whether a person may insist."""

    def __init__(self, words: str, field: str = "", *, anyway: bool = False) -> None:
        super().__init__(words)
        self.field = field
        self.anyway = anyway


class SwapRefused(CellRefused):
    """A swap cannot be kept as sent."""
