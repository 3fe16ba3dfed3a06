"""One set of examples in continuous integration, fresh ones on a developer's machine; no test is timed."""

import os

from hypothesis import Phase, settings

settings.register_profile("dev", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.register_profile(  # scripts/mutation.py: few examples, and one that fails need not be the smallest
    "mutation",
    deadline=None,
    derandomize=True,
    database=None,
    max_examples=30,
    phases=(Phase.explicit, Phase.generate),
)
settings.load_profile(os.environ.get("TESTS_PROFILE") or ("ci" if os.environ.get("CI") else "dev"))
