"""When to test again: the rule of a type, what it costs, and what it changes."""

import re
from datetime import timedelta
from itertools import combinations, pairwise

import pytest
from auditlog.models import LogEntry
from django.urls import reverse

from inventory.calc.kinds import Kind
from maintenance.calc.cost_plot import cost_plot, nice_step
from maintenance.calc.retest_cost import CostPoint
from maintenance.calc.retest_defaults import MICROPHONE_LEAD
from maintenance.models import RetestRule, Risk, UseLedger
from maintenance.outlook import outlook_of, use_of, usual_interval
from maintenance.services.retest_rules import rule_of
from maintenance.services.rules import RuleRefused, rule_forget, rule_set
from tests.builders import NOW, make_company, make_item, make_type

DAY = NOW.date()


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


@pytest.fixture
def lead(company):
    """Twenty leads of a type, ten of which went to each of a year's four shows a month."""
    made = make_type(Kind.LEAD, name="Microphone lead")
    items = [make_item(type=made) for _ in range(20)]
    UseLedger.objects.bulk_create(
        UseLedger(item=item, occasion=f"show:{n}", day=DAY - timedelta(days=7 * n + 1), state="done", basis="line")
        for n in range(48)
        for item in items[:10]
    )
    Risk.objects.bulk_create(
        Risk(item=item, made_at=NOW, shows=48.0 if at < 10 else 0.0, failures=1.0 if at < 2 else 0.0, chance_now=0.01)
        for at, item in enumerate(items)
    )
    return made


def as_shown(client, type_, **changes) -> dict[str, str]:
    form = client.get(reverse("retest-rule", args=[type_.pk])).context["form"]
    shown = {name: form[name].value() for name in form.fields}
    given = {name: str(value) for name, value in shown.items() if value not in (None, False)}
    given |= {name: value for name, value in changes.items() if value is not None}
    return {name: value for name, value in given.items() if changes.get(name, "") is not None}


def put(client, type_, **changes):
    return client.post(reverse("retest-rule", args=[type_.pk]), as_shown(client, type_, **changes))


# ---- the form -------------------------------------------------------------------------------------------------------


def test_a_type_nobody_has_set_shows_the_first_guess_of_its_kind(as_owner, lead):
    answer = as_owner.get(reverse("retest-rule", args=[lead.pk]))
    form, text = answer.context["form"], answer.content.decode()
    assert form["median_shows"].value() == f"{MICROPHONE_LEAD.median_shows:g}"
    assert "a guess, until your own record says otherwise." in text
    assert "from memory" in text
    assert not RetestRule.objects.exists()


def test_keeping_what_is_shown_keeps_the_target_as_it_was(as_owner, lead):
    assert put(as_owner, lead).status_code == 302
    assert RetestRule.objects.get(type=lead).target == MICROPHONE_LEAD.target


def test_fewer_bad_ones_a_show_is_a_lower_target_and_costs_more_minutes(as_owner, lead):
    rule = rule_of([lead])[lead.pk]
    outlook = outlook_of(type=lead, rule=rule, day=DAY)
    (now,) = outlook.curve(rule, (rule.target,))
    put(as_owner, lead, bad_a_show=f"{now.bad_a_show / 2:.4g}")
    kept = rule_of([lead])[lead.pk]
    (then,) = outlook.curve(kept, (kept.target,))
    assert kept.target < rule.target
    assert then.bad_a_show == pytest.approx(now.bad_a_show / 2, rel=0.02)
    assert then.minutes_a_month > now.minutes_a_month


def test_looking_says_what_it_costs_and_keeps_nothing(as_owner, lead):
    answer = put(as_owner, lead, bad_a_show="0.05", do="look")
    text = answer.content.decode()
    assert answer.status_code == 200
    assert re.search(r"0\.05 bad leads a show instead of [\d.]+, for \d+ bench minutes a month, \d+ more than now", text)
    assert "Nothing is kept yet." in text
    assert text.count('class="was"') == text.count('class="set"') == 1
    assert not RetestRule.objects.exists()


def test_more_minutes_than_there_are_is_said(as_owner, lead):
    make_company(bench_minutes_a_month=10)
    assert "more than the 10 bench minutes a month" in put(as_owner, lead, bad_a_show="0.02", do="look").content.decode()


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"bad_a_show": "0"}, "At least 0.0001."),
        ({"bad_a_show": "few"}, "Write a number, as 149.50."),
        ({"bad_a_show": "inf"}, "Write a number, as 149.50."),
        ({"a_show": "-3"}, "At least 0.1."),
        ({"pessimistic_shows": "400"}, "this must be below the figure above"),
        ({"least_days": "400", "most_days": "30"}, "The latest day comes before the soonest."),
        ({"least_shows": "9", "most_shows": "3"}, "The most shows are fewer than the least."),
        ({"most_days": "99999"}, "At most 3650."),
        ({"minutes_a_test": ""}, "This is needed."),
        ({"show_cents": "lots"}, "“lots”"),
        ({"show_cents": "99999999999"}, "is more than a piece of gear costs."),
    ],
)
def test_what_cannot_be_is_said_at_the_field_and_nothing_is_kept(as_owner, lead, typed, says):
    answer = put(as_owner, lead, **typed)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not RetestRule.objects.exists()


def test_a_limit_left_empty_is_none(as_owner, lead):
    put(as_owner, lead, most_days="", most_shows="")
    kept = RetestRule.objects.get(type=lead)
    assert (kept.most_days, kept.most_shows) == (None, None)


def test_only_an_owner_sets_a_rule_and_a_technician_reads_the_list(as_technician, lead):
    assert as_technician.get(reverse("retest-rules")).status_code == 200
    assert as_technician.get(reverse("retest-rule", args=[lead.pk])).status_code == 403
    assert as_technician.post(reverse("retest-rule-forget", args=[lead.pk])).status_code == 403


def test_a_stand_has_no_rule(as_owner):
    assert as_owner.get(reverse("retest-rule", args=[make_type(Kind.STAND).pk])).status_code == 404


# ---- the service ----------------------------------------------------------------------------------------------------


def test_who_set_a_rule_is_in_the_change_log(as_owner, owner, lead):
    put(as_owner, lead, least_shows="5")
    put(as_owner, lead, least_shows="6")
    entry = LogEntry.objects.filter(content_type__model="retestrule").latest("pk")
    assert (entry.actor, entry.changes["least_shows"]) == (owner, ["5", "6"])


def test_a_rule_the_database_would_refuse_is_refused_in_words(lead):
    with pytest.raises(RuleRefused, match="pessimistic"):
        rule_set(type=lead, fields={"median_shows": 10.0, "pessimistic_shows": 20.0}, person=None, at=NOW)
    assert not RetestRule.objects.exists()


def test_a_rule_forgotten_is_the_first_guess_again(as_owner, lead):
    put(as_owner, lead, least_shows="9")
    as_owner.post(reverse("retest-rule-forget", args=[lead.pk]))
    assert rule_of([lead])[lead.pk] == MICROPHONE_LEAD
    assert rule_forget(type=lead, person=None, at=NOW) is None


def test_saving_a_rule_works_the_chances_out_again(as_owner, lead):
    Risk.objects.filter(item__type=lead).update(why="")
    put(as_owner, lead, median_shows="20", pessimistic_shows="5")
    assert Risk.objects.filter(item__type=lead, why="").count() == 0


# ---- what it reckons with -------------------------------------------------------------------------------------------


def test_how_many_go_to_a_show_is_taken_from_the_record(lead):
    use = use_of(lead, DAY)
    assert (use.count, use.a_show, use.seen) == (20, 10.0, True)
    assert use.shows_a_month == pytest.approx(48 / (330 / 30.44), abs=0.1)


def test_without_a_record_of_shows_it_is_said_to_be_a_guess(as_owner):
    item = make_item()
    assert not use_of(item.type, DAY).seen
    assert "these two are guesses to reckon with" in as_owner.get(reverse("retest-rule", args=[item.type.pk])).content.decode()


def test_the_usual_interval_keeps_to_the_clamps(lead):
    rule = rule_of([lead])[lead.pk]
    model = outlook_of(type=lead, rule=rule, day=DAY).model
    for least, most in ((3, 4), (50, None)):
        held = type(rule)(**{**vars(rule), "least_shows": least, "most_shows": most})
        shows = usual_interval(model=model, rule=held, sees_show=0.5)
        assert least <= shows <= (most or shows)


@pytest.mark.parametrize("count", [1, 30])
def test_the_list_costs_the_same_queries_however_many_types(as_technician, count, django_assert_num_queries):
    for _ in range(count):
        make_item(kind=Kind.LEAD)
    as_technician.get(reverse("retest-rules"))
    with django_assert_num_queries(QUERIES):
        answer = as_technician.get(reverse("retest-rules"))
    assert len(answer.context["lines"]) == count


QUERIES = 11


# ---- the drawing ----------------------------------------------------------------------------------------------------


def point(bad: float, minutes: float, target: float = 0.05) -> CostPoint:
    return CostPoint(
        target=target,
        bad_a_show=bad,
        tests_a_month=minutes / 2,
        minutes_a_month=minutes,
        interval_shows=10,
        cents_a_month=0,
        held=False,
    )


def test_the_curve_falls_and_both_settings_lie_on_it():
    points = [point(bad, 40 / bad) for bad in (0.1, 0.2, 0.4, 0.8, 1.6)]
    plot = cost_plot(points=points, now=point(0.8, 50), new=point(0.4, 100), limit_minutes=300)
    along = [tuple(map(float, pair.split())) for pair in plot.path[1:].split("L")]
    assert [x for x, _y in along] == sorted(x for x, _y in along)
    assert [y for _x, y in along] == sorted(y for _x, y in along)  # down the page is less
    assert (plot.new.x, plot.new.y) in along and (plot.now.x, plot.now.y) in along
    assert plot.new.x < plot.now.x and plot.new.y < plot.now.y
    assert plot.limit_y is not None and plot.limit_y < plot.new.y


def test_where_every_target_comes_to_the_same_no_curve_is_drawn():
    same = [point(0.5, 40)] * 5
    assert cost_plot(points=same, now=same[0], new=same[0], limit_minutes=0).flat


def test_where_the_limits_bind_what_the_target_alone_would_give_is_drawn_too():
    held = [point(0.5 + n * 0.001, 40 - n * 0.1) for n in range(5)]
    alone = [point(0.1 * 1.2**n, 300 / 1.2**n) for n in range(19)]
    plot = cost_plot(points=held, now=held[0], new=held[0], limit_minutes=0, alone=alone)
    along = [tuple(map(float, pair.split())) for pair in plot.alone[1:].split("L")]
    assert not plot.flat and len(along) >= 4
    assert all(plot.left <= x <= plot.right and plot.top <= y <= plot.foot for x, y in along)
    free = cost_plot(points=alone, now=alone[8], new=alone[9], limit_minutes=0, alone=alone)
    assert free.alone == "", "where no limit binds, there is one line"


@pytest.mark.parametrize("limit", [0, 60, 110])
@pytest.mark.parametrize("at", range(1, 8))
def test_words_lie_on_no_line_and_on_no_other_word(at, limit):
    points = [point(0.1 * 1.5**n, 300 / 1.5**n) for n in range(9)]
    for new in (points[at], points[at - 1]):
        plot = cost_plot(points=points, now=points[at], new=new, limit_minutes=limit, words=("now", "with this"))
        along = [tuple(map(float, pair.split())) for pair in plot.path[1:].split("L")]
        boxes = [dot.word.box for dot in {plot.now, plot.new} if dot.inside]
        for box in boxes:
            assert not any(box.crossed_by(a, b) for a, b in pairwise(along))
            assert plot.limit_y is None or not box.top < plot.limit_y < box.foot
            assert box.left >= plot.left and box.right <= plot.right
        assert not any(a.meets(b) for a, b in combinations(boxes, 2))
        assert plot.limit is None or not any(plot.limit.box.meets(box) for box in boxes)


def test_the_list_says_once_that_nobody_has_set_a_rule(as_owner, lead):
    other = make_item(type=make_type(Kind.LEAD, name="Loudspeaker lead")).type
    said = as_owner.get(reverse("retest-rules")).content.decode()
    assert said.count("first guess of its kind holds") == 1 and "Nobody has set a rule for any of these" in said
    rule_set(type=other, fields={}, person=None, at=NOW)
    said = as_owner.get(reverse("retest-rules")).content.decode()
    assert said.count("The owner has set its rule.") == 1 and said.count("first guess of its kind holds") == 1


def test_the_page_says_which_limits_bind_and_draws_the_target_alone(as_owner, lead):
    UseLedger.objects.filter(occasion__in=[f"show:{n}" for n in range(48) if n % 6]).delete()
    shown = as_owner.get(reverse("retest-rule", args=[lead.pk])).content.decode()
    assert re.search(
        r"set most intervals, not the target\. Each goes to about 0\.\d shows a month, so \d+ days are only", shown
    )
    assert 'class="curve alone"' in shown and "what the target alone would come to" in shown


@pytest.mark.parametrize(("most", "step"), [(1.0, 0.5), (300, 100), (0.07, 0.02), (8, 2)])
def test_ticks_are_round_figures(most, step):
    assert nice_step(most) == pytest.approx(step)
