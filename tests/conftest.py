"""One set of examples in continuous integration, fresh ones on a developer's machine; no test is timed."""

import os

from hypothesis import settings

settings.register_profile("dev", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "dev")
