"""The fold of an item's record: against integration of the exact likelihood, and many at once against one by one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from maintenance.calc.retest_record import CODES, Event, Record, What, fold, fold_many, records_of

PASS, FAIL, REPAIR = What.PASS, What.FAIL, What.REPAIR


def use(shows, clean=True):
    return Event(what=What.USE, shows=shows, clean=clean)


def passed(sees=1.0):
    return Event(what=PASS, sees=sees)


def failed(in_use=False):
    return Event(what=FAIL, in_use=in_use)


MENDED = Event(what=REPAIR)
NEW = Event(what=What.AS_NEW)

events = st.one_of(
    st.builds(use, st.sampled_from([0.0, 0.5, 1.0, 3.0, 12.0]), st.booleans()),
    st.builds(passed, st.sampled_from([0.6, 0.75, 0.97, 1.0])),
    st.builds(failed, st.booleans()),
    st.just(MENDED),
    st.just(NEW),
)


def flat(lives):
    """The events of many items as the arrays `fold_many` takes."""
    rows = [(index, event) for index, life in enumerate(lives) for event in life]
    return {
        "count": len(lives),
        "item": np.array([i for i, _ in rows], dtype=np.int64),
        "what": np.array([CODES[e.what] for _, e in rows], dtype=np.int64),
        "shows": np.array([e.shows for _, e in rows], dtype=np.float64),
        "clean": np.array([e.clean for _, e in rows], dtype=bool),
        "sees": np.array([e.sees for _, e in rows], dtype=np.float64),
        "in_use": np.array([e.in_use for _, e in rows], dtype=bool),
    }


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(events, max_size=14), max_size=6), st.sampled_from([0.0, 0.5, 1.0]))
def test_many_at_once_is_one_by_one(lives, sees_show):
    together = fold_many(**flat(lives), sees_show=sees_show)
    assert len(together) == len(lives)
    for index, life in enumerate(lives):
        one, other = fold(life, sees_show=sees_show), together.at(index)
        assert [number for span in other.spans for number in span] == pytest.approx([n for span in one.spans for n in span])
        for name in Record.__dataclass_fields__:
            if name != "spans":
                assert getattr(other, name) == pytest.approx(getattr(one, name), abs=1e-9), name


def test_records_side_by_side_come_back_whole():
    lives = [[use(3), passed(), use(2), failed()], [], [NEW, use(4, clean=False)]]
    records = [fold(life, sees_show=0.5) for life in lives]
    together = records_of(records)
    assert [together.at(index) for index in range(3)] == records
    picked = together.of(np.array([2, 0]))
    assert [picked.at(0), picked.at(1)] == [records[2], records[0]]


def test_events_out_of_the_order_of_their_items_are_refused():
    arrays = flat([[passed()], [passed()]])
    arrays["item"] = arrays["item"][::-1].copy()
    with pytest.raises(ValueError, match="order of their items"):
        fold_many(**arrays, sees_show=0.5)


def test_a_perfect_pass_vouches_for_all_before_it_and_only_the_last_counts():
    often = fold([use(3), passed(), use(3), passed(), use(4), passed()], sees_show=0.0)
    once = fold([use(10), passed()], sees_show=0.0)
    assert (often.failures, often.shows, often.since) == (once.failures, once.shows, once.since) == (0.0, 10.0, 0.0)


def test_a_failure_counts_half_of_its_interval_and_the_pass_before_it_all():
    """(L, R]: a pass at L says that it failed after L."""
    record = fold([use(30, False), passed(), use(20, False), failed()], sees_show=0.5)
    assert (record.failures, record.shows) == (1.0, 40.0)
    assert record.down


def test_what_failed_in_a_show_failed_after_the_uneventful_one_before():
    record = fold([passed(), *[use(1)] * 7, use(1, clean=False), failed(in_use=True)], sees_show=0.5)
    assert (record.failures, record.shows) == (1.0, 7.5)


def test_found_at_line_check_it_failed_since_the_show_before():
    record = fold([passed(), *[use(1)] * 7, failed(in_use=True)], sees_show=0.5)
    assert (record.failures, record.shows) == (1.0, 7.0)


def test_repair_keeps_the_record_and_as_new_starts_over():
    life = [use(9, False), passed(), use(2, False), failed(), MENDED, passed(), use(5, False), passed()]
    assert (fold(life, sees_show=0.5).failures, fold(life, sees_show=0.5).shows) == (1.0, 15.0)
    over = fold([*life, NEW], sees_show=0.5)
    assert (over.failures, over.shows, over.since, over.tested) == (0.0, 0.0, 0.0, False)


def test_nothing_counts_while_it_lies_broken():
    life = [use(4, False), failed(), use(50), failed(), use(9)]
    assert fold(life, sees_show=0.5).shows == 2.0
    assert fold(life, sees_show=0.5).failures == 1.0


def test_bad_on_receipt_is_no_failure_of_use():
    record = fold([NEW, failed(), MENDED, passed(), use(3, False), passed()], sees_show=0.5)
    assert (record.failures, record.shows, record.starts, record.starts_bad) == (0.0, 3.0, 2, 1)


def test_a_lost_item_is_vouched_for_up_to_its_last_test():
    record = fold([use(10, False), passed(), use(6, False)], sees_show=0.5)
    assert (record.shows, record.since) == (10.0, 6.0)


def exact_nothing_found(rate, spans, sees_show):
    """The exact likelihood of a segment with nothing found: spans of (shows, then): 'clean', 'carried' or a test's s."""
    ends = np.cumsum([shows for shows, _ in spans])

    def missed(u):
        chance, shown = 1.0, False
        for end, then in zip(ends, [then for _, then in spans], strict=True):
            if u > end:
                continue
            if then == "clean":
                shown = True
            elif then != "carried":
                chance *= 1 - then
        return chance * (1 - sees_show if shown else 1)

    lasting = np.exp(-rate * ends[-1])
    starts = np.concatenate([[0], ends[:-1]])
    found = sum(
        quad(lambda u: rate * np.exp(-rate * u) * missed(u), start, end)[0] for start, end in zip(starts, ends, strict=True)
    )
    bad = found / (found + lasting)
    return lasting + found, bad


def events_of(spans):
    for shows, then in spans:
        yield use(shows, clean=then == "clean")
        if not isinstance(then, str):
            yield passed(then)


SEGMENTS = [
    [(10, 0.97), (5, "clean")],
    [(4, "clean"), (6, 0.6), (3, "clean"), (8, 0.97), (2, "carried")],
    [(20, 0.6)],
    [(3, "carried"), (3, "clean"), (3, 0.75), (3, 0.75)],
]


@pytest.mark.parametrize("spans", SEGMENTS)
@pytest.mark.parametrize("rate", [0.001, 0.005, 0.01])
def test_nothing_found_is_the_exact_likelihood_to_second_order(spans, rate):
    """e^(-l T) against the integral: off by at most l^2 var(V) / 2, and var(V) <= u^2 / 4."""
    record = fold(events_of(spans), sees_show=0.5)
    exact, bad = exact_nothing_found(rate, spans, 0.5)
    total = sum(shows for shows, _ in spans)
    bound = (rate * total) ** 2 / 8
    off = np.log(exact) + rate * record.shows
    assert 0 <= off <= bound * 1.05
    assert record.shows + record.since == pytest.approx(total)
    assert -np.expm1(-rate * record.since) == pytest.approx(bad, abs=2 * bound)


def test_the_residual_after_one_imperfect_test_is_bayes():
    """(1 - s) q / (1 - s q) with q the chance of having failed before it; ours is equal to first order in q."""
    rate, shows, sees = 0.001, 20, 0.6
    q = -np.expm1(-rate * shows)
    residual = (1 - sees) * q / (1 - sees * q)
    record = fold([use(shows, False), passed(sees)], sees_show=0.0)
    assert -np.expm1(-rate * record.since) == pytest.approx(residual, rel=0.02)


def test_simulated_lives_fail_at_the_mean_place_the_fold_says():
    """A bench test of 0.9 finds it after uneventful shows of 0.5 and an earlier test of 0.6: the mean of when it failed."""
    dice = np.random.default_rng(4)
    rate, count = 0.004, 400_000
    at = dice.exponential(1 / rate, count)
    hides = dice.random(count) >= 0.5  # a kind of fault that no show brings out
    found_by_show = (at < 8) & ~hides  # an uneventful show after 8 shows would have shown it
    seen_first = (at < 12) & (dice.random(count) < 0.6)
    caught = (at < 20) & ~found_by_show & ~seen_first & (dice.random(count) < 0.9)
    life = [use(8, clean=True), use(4, clean=False), passed(0.6), use(8, clean=False), failed()]
    assert fold(life, sees_show=0.5).shows == pytest.approx(at[caught].mean(), abs=0.2)


def test_likelihood_of_a_failure_is_the_exact_one_to_second_order():
    """l G e^(-l m) against int l e^(-l u) g(u) du, for g of a perfect pass, then a stretch: error x^2 / 24."""
    for rate in (0.002, 0.01):
        exact = quad(lambda u, rate=rate: rate * np.exp(-rate * u), 30, 50)[0]
        record = fold([use(30, False), passed(), use(20, False), failed()], sees_show=0.5)
        x = rate * 20
        assert exact / (x * np.exp(-rate * record.shows)) - 1 == pytest.approx(x * x / 24, rel=0.05)
