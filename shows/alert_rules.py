"""What the road speaks up about: what is not home, what a coming show lacks, scans that disagree."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.urls import reverse

from company.alert_rules import TITLE_MOST, cut, number_of, spoken, stage_after, stage_before
from company.clock import today
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.bench_needs import binding_between
from maintenance.models import Fault
from shows.calc.evidence import Finding
from shows.custody_parts import undecided
from shows.missing import AwayGroup, missing_at
from shows.models import PullRow, Show
from shows.needs import COMING, coming_shows, shorts_of, suspect_rows

MOST = 200  # coming shows looked at
FEW = 3  # things named in a sentence; the page behind it has them all
DAYS = 14  # days of shows looked at for what must be tested first


@spoken
def not_home(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of shows whose gear should be home and is not; one alert a show, told again at each further stage.

    What goes straight on is with the next show and is told of there.
    """
    for group in missing_at(at - terms.lead, declared=False):
        if group.show is None or not group.total:
            continue
        show = group.show
        one = group.items[0].item.label if group.total == 1 and group.items else ""
        yield Cause(
            subject=f"show:{show.pk}",
            occasion=f"show:{show.pk}",
            title=cut(f"{one or number_of(group.total, 'thing', 'things')} not home from {show.name}", TITLE_MOST),
            says=_home_says(group, show),
            url=reverse("missing") + f"#show-{show.pk}",
            by=show.home_by,
            stage=stage_after(show.home_by, at, terms),
            show=show.pk,
        )


def _home_says(group: AwayGroup, show: Show) -> str:
    """Say what is away, who had it last, and what to do, in an alert's length: each name with its record, as many as fit."""
    lost = [away for away in group.items if away.item.missing_since is not None]
    is_known = len(lost) == group.total  # somebody has said already that it is missing
    end = "Find it, or retire it." if is_known else "Scan it back, or say where it is."
    said = f"Home by {moment(show.home_by)}."
    parts = [f"{away.item.label}: {_missing_words(away.item)}{away.known}" for away in group.items[:FEW]]
    parts += [f"{counted.count} × {counted.name}." for counted in group.counted[: FEW - len(parts)]]
    shown = 0
    for place, part in enumerate(parts):
        if place and len(said) + len(part) + len(end) > 440:
            break
        said += f" {cut(part, 300)}"
        shown += 1 if place < len(group.items[:FEW]) else group.counted[place - len(group.items[:FEW])].count
    more = group.total - shown
    return cut(f"{said}{f' And {more} more.' if more > 0 else ''} {end}")


def _missing_words(item: Item) -> str:
    return f"Declared missing {day_words(today(item.missing_since))}. " if item.missing_since is not None else ""


@spoken
def show_trouble(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of coming shows that are short, that ask by name for what is suspect, or for what will be past its test-by date.

    One alert a show. It is told again at each further stage, and whenever a fault is newly reported on what the show asks for.
    """
    shows = coming_shows(at, terms.lead, MOST)
    if not shows:
        return
    lacking = shorts_of(shows, at)
    suspect: dict[int, list[PullRow]] = defaultdict(list)
    for row in suspect_rows(shows):
        suspect[row.show_id].append(row)
    with_it = _suspect_with(shows)
    last = today(max(show.load_in for show in shows))
    late = {show: (words, count) for show, _name, _on, words, count in binding_between(today(at), last, DAYS)}
    news = _newly_reported(shows, at, terms)
    for show in shows:
        lacks, bad, test = lacking.get(show.pk), suspect.get(show.pk, []), late.get(show.pk)
        said, titles = [], []
        if gone := with_it.get(show.pk):
            titles.append(f"{number_of(len(gone), 'bad thing', 'bad things')} packed")
            more = f" and {len(gone) - FEW} more" if len(gone) > FEW else ""
            said.append(f"Suspect, and out with it: {cut('; '.join(item.label for item in gone[:FEW]) + more, 150)}. Swap it.")
        if bad:
            titles.append(number_of(len(bad), "thing suspect", "things suspect"))
            named = "; ".join(f"{_named(row)} since {day_words(row.item.suspect_since)}" for row in bad[:FEW] if row.item)
            more = f" and {len(bad) - FEW} more" if len(bad) > FEW else ""
            said.append(f"Suspect: {cut(named + more, 150)}. Prove it, or put another on the list.")
        if lacks is not None:
            titles.append(f"short {lacks.lacking} {lacks.name}")
            more = f" {number_of(lacks.more, 'more line is', 'more lines are')} short too." if lacks.more else ""
            said.append(f"Short {lacks.lacking} {lacks.name}: {cut(lacks.why, 110)}{more} Borrow it, or ask for less.")
        if test is not None:
            words, count = test
            titles.append(f"{count} to test")
            said.append(f"Past its test-by date by load-in: {cut(words, 100)}. Test it first.")
        if said:
            yield Cause(
                subject=f"show:{show.pk}",
                occasion=f"show:{show.pk}",
                title=cut(f"{show.name}: {', '.join(titles)}", TITLE_MOST),
                says=cut(" ".join(said)),
                url=show.get_absolute_url(),
                by=show.load_in,
                stage=stage_before(show.load_in, at, terms) + news[show.pk],
                show=show.pk,
            )


def _suspect_with(shows: list[Show]) -> dict[int, list[Item]]:
    """Return by show what is out with it and suspect, and named on no list: what a list names is told by its row."""
    named = PullRow.objects.filter(show__in=shows, item__isnull=False).values("item")
    bad = Item.objects.filter(custody_show__in=[show.pk for show in shows], suspect_since__isnull=False).exclude(pk__in=named)
    found: dict[int, list[Item]] = defaultdict(list)
    for item in bad.select_related("type").order_by("type__name", "name", "pk"):
        if item.custody_show is not None:
            found[item.custody_show].append(item)
    return found


def _named(row: PullRow) -> str:
    assert row.item is not None  # noqa: S101 (the question asks for an item)
    return f"{row.item.label} (line {row.line})" if row.line else row.item.label


def _newly_reported(shows: list[Show], at: datetime, terms: RuleTerms) -> Counter[int]:
    """Count by show the faults reported, since the rule first speaks of it, on what its list names: it only ever rises."""
    named: dict[int, list[int]] = defaultdict(list)
    for show, item in PullRow.objects.filter(show__in=shows, item__isnull=False).order_by().values_list("show", "item"):
        named[item].append(show)
    since = {show.pk: show.load_in - terms.lead for show in shows}
    news: Counter[int] = Counter()
    faults = Fault.objects.filter(item__in=list(named), opened_at__gt=min(since.values()), opened_at__lte=at).order_by()
    for item, opened_at in faults.values_list("item", "opened_at"):
        for show in named[item]:
            news[show] += opened_at > since[show]
    return news


LOOK = "Look, and say which of the two is right."
TO_DO: dict[str, str] = {
    Finding.AGAINST_ADVICE: "Take it out again and put another in, or say that it may go.",
    Finding.SAID_OTHERWISE: "See that the hand knows, and say that you looked.",
}


@spoken
def disagreements(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of scans that disagree with the record and nobody has looked at; one alert a contradiction."""
    for found in undecided():
        yield Cause(
            subject=f"item:{found.item_id}",
            occasion=cut(f"{found.scan_uid}:{found.kind}", 80),
            title=cut(f"{found.item.label}: {found.kind}", TITLE_MOST),
            says=cut(f"{cut(found.said, 380)} Scanned {moment(found.happened_at)}. {TO_DO.get(found.kind, LOOK)}"),
            url=reverse("contradiction", args=[found.pk]),
            by=found.happened_at,
            show=found.show_id,
        )


NOT_HOME = AlertRule(
    key="not-home",
    name="Not back after home-by",
    why="What is missed the same night is found; what is missed a week later is not.",
    find=not_home,
    done="It is all home, went straight on, or was given more time.",
    urgent=True,
    digest=False,
    terms=RuleTerms(lead=timedelta(), stages=(timedelta(hours=12),)),
    lead_means="after home-by",
)
TROUBLE = AlertRule(
    key="show-trouble",
    name="Short, suspect or past its test-by date on a coming show",
    why="The day before there is still time to borrow, prove or test.",
    find=show_trouble,
    done="It has what it asks for, has loaded in, or is cancelled.",
    digest=False,
    terms=RuleTerms(lead=COMING, stages=(timedelta(hours=24),)),
    lead_means="before load-in",
)
CONTRADICTION = AlertRule(
    key="scans-disagree",
    name="Scans that disagree",
    why="The record is wrong about it, or somebody scanned another.",
    find=disagreements,
    done="It was decided, or a later scan explained it.",
)


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    ALERT_RULES.add(NOT_HOME.key, lambda: NOT_HOME, rank=10)
    ALERT_RULES.add(TROUBLE.key, lambda: TROUBLE, rank=30)
    ALERT_RULES.add(CONTRADICTION.key, lambda: CONTRADICTION, rank=40)
