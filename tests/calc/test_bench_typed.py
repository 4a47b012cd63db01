"""What is typed at a bench: a lamp tester's list of channels that failed."""

import pytest

from maintenance.calc.bench_typed import TypedError, channels_typed


def test_channels_that_failed_are_read_as_people_list_them():
    assert channels_typed("3, 14", sends=16) == {3: "", 14: ""}
    assert channels_typed("3 to 5; r2 7.2", sends=24, returns=8) == {3: "", 4: "", 5: "", 26: "", 7: "2"}
    assert channels_typed("r1-r3", sends=24, returns=8) == {25: "", 26: "", 27: ""}
    assert channels_typed(" ", sends=8) == {}


@pytest.mark.parametrize("typed", ["0", "9", "r1", "5-3", "7.2, 7.3", "3-5.2", "7.2-8", "one", "-3", "1e9", "99999"])
def test_a_list_that_cannot_be_gets_a_sentence(typed):
    with pytest.raises(TypedError, match=r"\.$"):
        channels_typed(typed, sends=8)
