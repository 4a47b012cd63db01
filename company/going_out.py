"""What an export takes along of the tables of this floor and of the libraries below it."""

from company.registries import GoingOut


def company_goes_out() -> GoingOut:
    """Say which tables and columns go out, and why the others never do."""
    return GoingOut(
        out={
            "company.Person": "",
            "company.Company": "The one row of the shop's settings.",
            "contenttypes.ContentType": "A number for each table, as the change log names them.",
            "auditlog.LogEntry": "One line of the change log: who changed what, when, from what to what.",
        },
        stays={
            "company.ApiToken": "tokens let programs in",
            "company.Job": "the program's own work, forgotten after 30 days",
            "company.Pulse": "how the program itself was, minute by minute",
            "company.Absence": "when the program was closed",
            "company.Person_groups": "not used: what a person may do stands with the person",
            "company.Person_user_permissions": "not used: what a person may do stands with the person",
            "auth.Group": "not used: what a person may do stands with the person",
            "auth.Group_permissions": "not used: what a person may do stands with the person",
            "auth.Permission": "not used: what a person may do stands with the person",
            "admin.LogEntry": "not used: the change log stands in its place",
            "sessions.Session": "whoever holds a session's key is signed in",
            "axes.AccessAttempt": "sign-ins that failed, with what was typed and from where",
            "axes.AccessAttemptExpiration": "sign-ins that failed, with what was typed and from where",
            "axes.AccessFailureLog": "sign-ins that failed, with what was typed and from where",
            "axes.AccessLog": "sign-ins, with from where",
        },
        without={
            "company.Person.password": "a password can be guessed from its hash",
            "auditlog.LogEntry.remote_addr": "not kept: where a request came from is nobody's business here",
            "auditlog.LogEntry.remote_port": "not kept: where a request came from is nobody's business here",
        },
    )
