"""What we own, one noun a module."""

from company.guards import guard
from inventory.models.cases import CaseCount, CasePlanLine, Placement
from inventory.models.counted import CountedLine, CountMove
from inventory.models.events import ItemEvent
from inventory.models.facts import (
    FACTS_OF_KIND,
    AmplifierFacts,
    CaseFacts,
    CellSetFacts,
    ConsumableFacts,
    DeskFacts,
    InstrumentFacts,
    InterfaceBoxFacts,
    LeadFacts,
    LoudspeakerFacts,
    MicrophoneFacts,
    MulticoreFacts,
    PowerFacts,
    StageBoxFacts,
    StandFacts,
    WirelessFacts,
)
from inventory.models.gear import GearType, GoesWith, Item, Place
from inventory.models.labels import Label, LabelRun, PrinterTrim
from inventory.models.strays import Stray

__all__ = [
    "FACTS_OF_KIND",
    "AmplifierFacts",
    "CaseCount",
    "CaseFacts",
    "CasePlanLine",
    "CellSetFacts",
    "ConsumableFacts",
    "CountMove",
    "CountedLine",
    "DeskFacts",
    "GearType",
    "GoesWith",
    "InstrumentFacts",
    "InterfaceBoxFacts",
    "Item",
    "ItemEvent",
    "Label",
    "LabelRun",
    "LeadFacts",
    "LoudspeakerFacts",
    "MicrophoneFacts",
    "MulticoreFacts",
    "Place",
    "Placement",
    "PowerFacts",
    "PrinterTrim",
    "StageBoxFacts",
    "StandFacts",
    "Stray",
    "WirelessFacts",
]

guard(
    CaseCount,
    CasePlanLine,
    CountMove,
    CountedLine,
    GearType,
    GoesWith,
    Item,
    ItemEvent,
    Label,
    LabelRun,
    Place,
    Placement,
    PrinterTrim,
    Stray,
    *dict.fromkeys(FACTS_OF_KIND.values()),
)
