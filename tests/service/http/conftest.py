"""What pytest leaves alone here."""

from __future__ import annotations

# It imports a client that is there only once a test has generated it.
collect_ignore = ["client_job.py"]
