"""Laws are tried on the same examples in every run, so that a run says something about the change and not about luck.

HABITATMAP_FUZZ=1 draws new ones: for long runs by hand.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded: tests run side by side

from hypothesis import settings

settings.register_profile("same examples", derandomize=True)
if not os.environ.get("HABITATMAP_FUZZ"):
    settings.load_profile("same examples")
