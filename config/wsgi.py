"""The door for a web server."""

import os

from django.core.wsgi import get_wsgi_application

from config.warm import warm_aside

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
application = get_wsgi_application()
warm_aside()

from company.in_use import hold  # noqa: E402 (settings first)

hold()

from company.pulses import watch_aside  # noqa: E402 (it has tables, which must be known first)

watch_aside()
