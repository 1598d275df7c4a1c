"""Settings of every property test: the same examples on each run, so a failure stays.

`pytest --hypothesis-profile=search` looks for new ones.
"""

from __future__ import annotations

from hypothesis import HealthCheck, Phase, settings

settings.register_profile(
    "suite",
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=(HealthCheck.too_slow,),
)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("suite")
