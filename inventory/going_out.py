"""What an export takes along of the tables of this floor."""

from company.registries import GoingOut


def inventory_goes_out() -> GoingOut:
    """Say which tables and columns go out, and why the others never do."""
    return GoingOut(
        out={
            "inventory.GearType": "",
            "inventory.Place": "",
            "inventory.Item": "",
            "inventory.GoesWith": "",
            "inventory.CountedLine": "",
            "inventory.CountMove": "",
            "inventory.CasePlanLine": "",
            "inventory.Placement": "",
            "inventory.CaseCount": "",
            "inventory.ItemEvent": "",
            "inventory.InterfaceBoxFacts": "",
            "inventory.LeadFacts": "",
            "inventory.MicrophoneFacts": "",
            "inventory.WirelessFacts": "",
            "inventory.MulticoreFacts": "",
            "inventory.StageBoxFacts": "",
            "inventory.DeskFacts": "",
            "inventory.LoudspeakerFacts": "",
            "inventory.AmplifierFacts": "",
            "inventory.PowerFacts": "",
            "inventory.CellSetFacts": "",
            "inventory.StandFacts": "",
            "inventory.CaseFacts": "",
            "inventory.ConsumableFacts": "",
            "inventory.InstrumentFacts": "",
            "inventory.LabelRun": "",
            "inventory.Label": "",
            "inventory.PrinterTrim": "",
            "inventory.Stray": "",
        },
    )
