"""What a phone loads for the dock page: script and style, compressed as a server would."""

import gzip
import os
import re
import tempfile
from pathlib import Path


def main() -> None:
    os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="knowngood-weight-")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.contrib.staticfiles import finders
    from django.core.management import call_command
    from django.test import Client

    from company.clock import now
    from company.models import Company, Person

    call_command("migrate", verbosity=0)
    company = Company.current()
    company.set_up_at = now()
    company.save()
    client = Client(headers={"host": "127.0.0.1"})
    hand = Person.objects.create_user(username="hand", role="hand")
    client.force_login(hand, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get("/dock/?show=any").content.decode()
    # what only the camera wants is named in the page too, and fetched when somebody opens it
    wanted = set(re.findall(r'(?:src|href)="/static/([^"?]+\.(?:js|css))', page))
    ahead = re.search(r"Promise\.allSettled\((.+?)\);", Path(finders.find("shows/dock.js")).read_text())
    assert ahead, "the dock fetches nothing ahead any more"
    wanted |= {f"shows/{name}" for name in re.findall(r'"\./([^"]+)"', ahead[1])}
    seen: set[str] = set()
    while wanted:
        name = wanted.pop()
        seen.add(name)
        text = Path(finders.find(name)).read_text()
        folder = Path(name).parent
        imports = re.findall(r'(?:from|import)\s+"(\./[^"]+)"', text) if name.endswith(".js") else []
        wanted |= {str(folder / module[2:]) for module in imports} - seen
    weight = sum(len(gzip.compress(Path(finders.find(name)).read_bytes(), 9)) for name in seen)
    print(f"dock page, script and style of {len(seen)} files compressed, kB\t{weight / 1000:.1f}\tunder 60")


if __name__ == "__main__":
    main()
