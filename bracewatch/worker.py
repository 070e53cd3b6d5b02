"""The clock: calls an idempotent tick every few seconds. All dates live in the tables, none in here."""

from __future__ import annotations

from collections.abc import Callable

from apscheduler.schedulers.background import BackgroundScheduler


def start(tick: Callable[[], None], every_seconds: int) -> BackgroundScheduler:
    """Call `tick` every so many seconds in the background, one call at a time, until `shutdown()` of what comes back.

    A tick that comes late comes once: what was due is found in the tables.
    """
    scheduler = BackgroundScheduler(timezone="UTC")
    scheduler.add_job(tick, "interval", seconds=every_seconds, coalesce=True, max_instances=1, misfire_grace_time=None)
    scheduler.start()
    return scheduler
