"""The web process."""

import gc
import os

from django.conf import settings
from django.core.wsgi import get_wsgi_application

from scalewitness.serving.logs import log_what_nobody_caught
from scalewitness.serving.traces import start_tracing

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
os.environ["SCALEWITNESS_PROCESS"] = "web"

log_what_nobody_caught()
start_tracing("web")
_served = get_wsgi_application()

from scalewitness.serving.able import OnlyWhenAble  # noqa: E402  needs Django set up
from scalewitness.serving.admission import Admission  # noqa: E402
from scalewitness.serving.requests import Watched  # noqa: E402

application = Watched(OnlyWhenAble(Admission(_served, settings.WEB_THREADS)))

# What was loaded by now stays for good: the collector need not walk over it at each turn.
gc.collect()
gc.freeze()
# Nor need it run ten times while one big page is made; what is in cycles waits a little.
gc.set_threshold(100_000, 10, 10)
