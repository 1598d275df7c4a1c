"""Settings of every test: one thread of linear algebra, the same examples on each run.

The matrices are small, and workers side by side would only wait for each other's threads.
`pytest --hypothesis-profile=search` looks for new ones.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")  # read when numpy is first imported

from hypothesis import HealthCheck, Phase, settings  # noqa: E402

settings.register_profile(
    "suite",
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=(HealthCheck.too_slow,),
)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("suite")
