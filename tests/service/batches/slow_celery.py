"""Celery workers with slow drawings, which see soon that one of them has vanished."""

from piecewright.service.batches.celery_app import celery_app
from piecewright.service.settings import Settings
from tests.service.batches.slow import SlowPackets

app = celery_app(Settings.from_environment(), SlowPackets(), lease=1.5, sweep=0.3)
