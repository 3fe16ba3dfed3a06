"""One set of examples in continuous integration, fresh ones on a developer's machine."""

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")
