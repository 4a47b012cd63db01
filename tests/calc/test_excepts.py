"""Channels that are dead: read from what is written, and said to whoever patches."""

import pytest

from inventory.calc.excepts import dead_channels, dead_words


@pytest.mark.parametrize(
    ("written", "dead"),
    [
        ("", set()),
        ("7", {7}),
        ("7, 14", {7, 14}),
        ("14,7,14", {7, 14}),
        ("9 to 12", {9, 10, 11, 12}),
        ("12-9, 20", {9, 10, 11, 12, 20}),
        ("channel 3 and return 2", {2, 3}),
        ("0", set()),
        ("the last one", set()),
    ],
)
def test_dead_channels_are_the_numbers_written(written, dead):
    assert dead_channels(written) == dead


def test_words_name_every_dead_channel_in_order():
    assert dead_words("14") == "nothing on 14"
    assert dead_words("14, 7") == "nothing on 7 and 14"
    assert dead_words("3, 1, 2") == "nothing on 1, 2 and 3"
    assert dead_words("") == ""
    assert dead_words("the last one") == "nothing on the last one"
