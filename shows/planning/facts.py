"""What the numbers are told of our gear: mic/DI types as pickups, desks and stage boxes as inputs. Three queries, however much
there is."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from django.db.models import Count, Q, Sum

from inventory.calc.conductors import ConductorError, core_of
from inventory.calc.kinds import Kind, PhantomKind
from inventory.models import CountMove, GearType, InterfaceBoxFacts, Item, MicrophoneFacts
from shows.calc.lines import Sort
from shows.calc.pickup_choice import By, Pickup
from shows.calc.signal_path import Source
from shows.models import SourceType

ISOLATOR_BELOW = 3.0  # a ratio nearer one than any instrument box has
MIXER_OHM = 2_000.0  # a microphone input where nothing is on record: published figures run from 1.5 to 3 kΩ
PLAIN = {True: "lead-mic", False: "adapter-ts-mic"}  # what a balanced, an unbalanced source is plugged in with as it is
TYPICAL_DBU = 0.0
USUAL_MOST_DBU = (
    18.0  # what an input takes where nobody wrote it down: good gear clips at 18 to 24 dBu (published), the low end
)
BARE_CARTRIDGES = frozenset({"turntable"})
INSTRUMENT_LEAD = "lead-ts"
# a lead nothing is on record of: published instrument leads run from 100 to 160 pF a metre, microphone pairs about 100;
# 0.22 mm² at the upper guide; a braid as published
USUAL_PF = {True: 100.0, False: 130.0}
CORE_OHM_PER_M, SHIELD_OHM_PER_M = 0.0886, 0.03


@dataclass(frozen=True, kw_only=True)
class Cable:
    """A lead's or multicore's figures a metre."""

    pf_per_m: float
    core_ohm_per_m: float = CORE_OHM_PER_M
    shield_ohm_per_m: float = SHIELD_OHM_PER_M


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """The inputs of a desk or a digital stage box; `known` false: nothing is on record and these are the usual figures."""

    name: str
    ohm: float = MIXER_OHM
    most_dbu: float | None = None
    phantom: PhantomKind = PhantomKind.PER_CHANNEL
    budget_ma: float | None = None
    count: int | None = None
    known: bool = True

    @property
    def takes_dbu(self) -> float:
        """Return the most an input takes: as on record, or the usual."""
        return USUAL_MOST_DBU if self.most_dbu is None else self.most_dbu


@dataclass(frozen=True, kw_only=True)
class Known:
    """All mic/DI types by key, those we own by how many, and the types' rows."""

    pickups: dict[int, Pickup]
    types: dict[int, GearType]
    owned: dict[int, int]
    leads: dict[str, Cable] = field(default_factory=dict)

    def lead(self, *, balanced: bool) -> Cable:
        """Return the microphone lead's figures, or the instrument lead's."""
        key = PLAIN[True] if balanced else INSTRUMENT_LEAD
        return self.leads.get(key) or Cable(pf_per_m=USUAL_PF[balanced])

    def type_of_key(self, key: str) -> GearType | None:
        """Return a catalogue type by its key."""
        return next((one for one in self.types.values() if one.key == key), None)

    def of_source(self, source: SourceType) -> tuple[Pickup, ...]:
        """Return what may be taken for a source: of what we own, or of the whole catalogue where we own none that is made
        for it; each with its place among what is usual."""
        place = {key: number for number, key in enumerate(source.usual)}
        fit = [self._ranked(pk, one, place) for pk, one in self.pickups.items() if self._is_made_for(pk, one, source)]
        # a plain lead is always at hand
        ours = [one for one in fit if one.by is By.LEAD or self.owned.get(int(one.key))]
        # a plain lead alone is no box: where we own no other, the catalogue is told
        return tuple(ours if any(one.by is not By.LEAD for one in ours) or source.balanced else fit)

    def _ranked(self, pk: int, one: Pickup, place: dict[str, int]) -> Pickup:
        return replace(one, usual=place.get(self.types[pk].key or ""))

    def _is_made_for(self, pk: int, one: Pickup, source: SourceType) -> bool:
        if source.way == "electric":
            plain = self.types[pk].key == PLAIN[source.balanced]
            if one.by is By.LEAD:
                return plain
            # a balanced source goes as it is; only an isolator can stand in its lead, for a reason
            return one.by is By.ISOLATOR if source.balanced else one.by is not By.MICROPHONE
        if source.way == "acoustic":
            return one.by is By.MICROPHONE
        return one.by is By.MICROPHONE or one.takes_loudspeaker


def known_pickups(also: Iterable[int] = ()) -> Known:
    """Read every type that can pick a source up, and how many we own. `also`: keys of types that stand on lines anyway."""
    kinds = [Kind.INTERFACE_BOX, Kind.MICROPHONE]
    also = set(also)
    wanted = Q(kind__in=kinds) | Q(key__in=[*PLAIN.values(), INSTRUMENT_LEAD]) | Q(pk__in=also)
    rows = GearType.objects.select_related("box_facts", "microphone_facts", "lead_facts").filter(wanted)
    leads = {str(one.key): cable_of(one, balanced=one.key == PLAIN[True]) for one in rows if one.kind == Kind.LEAD}
    types = {one.pk: one for one in rows if one.key != INSTRUMENT_LEAD or one.pk in also}
    return Known(pickups={pk: pickup_of(one) for pk, one in types.items()}, types=types, owned=owned_of(types), leads=leads)


def cable_of(type_: GearType | None, *, balanced: bool = True) -> Cable:
    """Return a lead's or multicore's figures a metre; the usual ones where its facts do not say."""
    facts = type_.facts if type_ is not None else None
    if facts is None:
        return Cable(pf_per_m=USUAL_PF[balanced])
    pf, shield = getattr(facts, "capacitance_pf_per_m", None), getattr(facts, "screen_mohm_per_m", None)
    try:
        core = core_of(
            mm2=getattr(facts, "core_mm2", None), awg=getattr(facts, "core_awg", None), tinned=getattr(facts, "tinned", False)
        )
    except ConductorError:
        core = None
    return Cable(
        pf_per_m=USUAL_PF[balanced] if pf is None else pf,
        core_ohm_per_m=core.mohm_per_m / 1000 if core else CORE_OHM_PER_M,
        shield_ohm_per_m=SHIELD_OHM_PER_M if shield is None else shield / 1000,
    )


def owned_of(types: Iterable[int]) -> dict[int, int]:
    """Return how many of each type we own, labelled and counted."""
    types, owned = list(types), defaultdict[int, int](int)
    rows = (
        Item.objects.owned().filter(type__in=types, missing_since=None).order_by().values_list("type").annotate(n=Count("pk"))
    )
    for key, count in rows:
        owned[key] += count
    moves = CountMove.objects.filter(line__type__in=types, show=None).order_by()
    for key, total in moves.values_list("line__type").annotate(n=Sum("delta")):
        owned[key] += total or 0
    return {key: count for key, count in owned.items() if count > 0}


def pickup_of(type_: GearType) -> Pickup:
    """Return a type as the numbers see it; facts nobody entered stay unknown."""
    facts = type_.facts
    key, name = str(type_.pk), type_.name
    if isinstance(facts, MicrophoneFacts):
        return Pickup(
            key=key,
            name=name,
            by=By.MICROPHONE,
            output_ohm=facts.source_ohm,
            on_phantom=facts.needs_phantom,
            on_cells=type_.bays > 0,
            harmed_by_phantom=facts.harmed_by_phantom,
            sensitivity_mv=facts.sensitivity_mv_per_pa,
            most_spl_db=facts.most_spl_db,
        )
    if isinstance(facts, InterfaceBoxFacts):
        isolator = not facts.active and facts.turns_ratio is not None and facts.turns_ratio < ISOLATOR_BELOW
        return Pickup(
            key=key,
            name=name,
            by=By.ISOLATOR if isolator else By.ACTIVE if facts.active else By.PASSIVE,
            input_ohm=facts.input_ohm,
            output_ohm=facts.output_ohm,
            turns=facts.turns_ratio,
            pads_db=tuple(pad for pad in (facts.pad_db, facts.second_pad_db) if pad),
            isolates=bool(facts.transformer_isolated),
            lift=bool(facts.ground_lift),
            takes_loudspeaker=facts.loudspeaker_tap,
            voicing_filter=facts.voicing_filter,
            stereo=(facts.channels or 1) >= 2,
            on_phantom=facts.runs_on_phantom,
            on_cells=facts.runs_on_cells,
        )
    by = {Kind.MICROPHONE: By.MICROPHONE, Kind.INTERFACE_BOX: By.PASSIVE}.get(Kind(type_.kind), By.LEAD)
    return Pickup(key=key, name=name, by=by)


def source_of(kind: SourceType) -> Source:
    """Return a kind of source as the numbers see it."""
    typical = TYPICAL_DBU if kind.typical_dbu is None else kind.typical_dbu
    return Source(
        sort=Sort(kind.sort),
        ohm=kind.ohm or 0.0,
        henry=kind.henry or 0.0,
        farad=(kind.own_pf or 0.0) * 1e-12,
        across_ohm=kind.across_ohm or float("inf"),
        typical_dbu=typical,
        peak_dbu=typical if kind.peak_dbu is None else kind.peak_dbu,
    )


def inputs_of(type_: GearType | None, name: str) -> Inputs:
    """Return the inputs of a desk or a digital stage box."""
    facts = type_.facts if type_ is not None else None
    if type_ is None or facts is None or type_.kind not in {Kind.DESK, Kind.STAGE_BOX}:
        return Inputs(name=type_.name if type_ else name, known=False)
    return Inputs(
        name=type_.name,
        ohm=facts.input_ohm or MIXER_OHM,  # type: ignore[attr-defined]
        most_dbu=facts.most_input_dbu,  # type: ignore[attr-defined]
        phantom=PhantomKind(facts.phantom or PhantomKind.PER_CHANNEL),  # type: ignore[attr-defined]
        budget_ma=facts.phantom_budget_ma,  # type: ignore[attr-defined]
        count=facts.inputs,  # type: ignore[attr-defined]
        known=True,
    )
