"""Where it goes, one noun a module."""

from company.guards import guard
from shows.models.custody import Checkout, Contradiction, CustodyHead
from shows.models.passes import CrewPass, PassHolder
from shows.models.plan import InputLine, ListSave, ListTemplate, Promised, SourceType
from shows.models.rigs import Rig, RigRow
from shows.models.scans import Scan
from shows.models.shows import PhantomSeen, PullRow, Show, Venue
from shows.models.stage import FeedPressed, NotProposed, StageLoad, StagePlace, StagePlan, VenueFeed

__all__ = [
    "Checkout",
    "Contradiction",
    "CrewPass",
    "CustodyHead",
    "FeedPressed",
    "InputLine",
    "ListSave",
    "ListTemplate",
    "NotProposed",
    "PassHolder",
    "PhantomSeen",
    "Promised",
    "PullRow",
    "Rig",
    "RigRow",
    "Scan",
    "Show",
    "SourceType",
    "StageLoad",
    "StagePlace",
    "StagePlan",
    "Venue",
    "VenueFeed",
]

guard(Checkout, Contradiction, CustodyHead, PhantomSeen, PullRow, Rig, RigRow, Scan, Show, Venue)
guard(FeedPressed, InputLine, ListSave, ListTemplate, Promised, SourceType, StageLoad, StagePlace, StagePlan, VenueFeed)
guard(CrewPass, NotProposed, PassHolder)
