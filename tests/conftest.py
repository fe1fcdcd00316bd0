"""How hypothesis looks for counter-examples: the same ones each time in CI, new ones elsewhere."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, print_blob=True)
if os.environ.get("CI"):
    settings.load_profile("ci")
