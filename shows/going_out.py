"""What an export takes along of the tables of this floor."""

from company.registries import GoingOut


def shows_goes_out() -> GoingOut:
    """Say which tables and columns go out, and why the others never do."""
    return GoingOut(
        out={
            "shows.Venue": "",
            "shows.Show": "",
            "shows.PullRow": "",
            "shows.PhantomSeen": "",
            "shows.CustodyHead": "",
            "shows.Checkout": "",
            "shows.Contradiction": "",
            "shows.CrewPass": "",
            "shows.PassHolder": "",
            "shows.VenueFeed": "",
            "shows.FeedPressed": "",
            "shows.StagePlan": "",
            "shows.StagePlace": "",
            "shows.StageLoad": "",
            "shows.SourceType": "",
            "shows.InputLine": "",
            "shows.ListTemplate": "",
            "shows.NotProposed": "",
            "shows.ListSave": "",
            "shows.Promised": "",
            "shows.Rig": "",
            "shows.RigRow": "",
            "shows.Scan": "",
        },
        without={
            "shows.CrewPass.digest": "whoever has a pass scans for its show",
            "shows.PassHolder.digest": "whoever has a pass scans for its show",
        },
    )
