"""Where it goes, one noun a module."""

from company.guards import guard
from shows.models.custody import Checkout, Contradiction, CustodyHead
from shows.models.rigs import Rig, RigRow
from shows.models.scans import Scan
from shows.models.shows import PhantomSeen, PullRow, Show, Venue

__all__ = ["Checkout", "Contradiction", "CustodyHead", "PhantomSeen", "PullRow", "Rig", "RigRow", "Scan", "Show", "Venue"]

guard(Checkout, Contradiction, CustodyHead, PhantomSeen, PullRow, Rig, RigRow, Scan, Show, Venue)
