"""The practice clinic: played, summed up, served."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bracewatch.cli.given import Given, an_instant
from bracewatch.cli.serving import listen

if TYPE_CHECKING:
    from bracewatch.demo.practice_clinic import PracticeClinic

TICK_SECONDS = 5


@click.command()
@click.option("--no-serve", is_flag=True, help="Play, print what came of it, and end.")
@click.option("--port", default=8321, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option(
    "--file",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The practice clinic's file; it goes on where it was. [default: practice.sqlite3, or none with --no-serve]",
)
@click.option("--as-of", metavar="INSTANT", help="Practise as if it were then, as in 2026-11-25T09:00Z.")
def demo(no_serve: bool, port: int, file: Path | None, as_of: str | None) -> None:
    """Practise with invented families: play their history, then serve the practice clinic on this machine."""
    from bracewatch.demo import families, summary
    from bracewatch.demo.practice_clinic import NotAPracticeFile, PracticeClinic

    given = Given()
    start = given.read("--as-of", as_of, an_instant)
    given.refuse_if_faulty()
    wall = _wall_clock(start)
    with tempfile.TemporaryDirectory() as folder:
        path = file or (Path(folder) / "practice.sqlite3" if no_serve else Path("practice.sqlite3"))
        try:
            clinic = PracticeClinic.on_file(path, families.shipped(), wall)
        except (NotAPracticeFile, families.ProgrammeFileError) as error:
            raise click.UsageError(str(error)) from error
        clinic.tick()
        for line in summary.lines(clinic.store, clinic.now()):
            click.echo(line)
        if not no_serve:
            serve(clinic, port)
        clinic.close()


def _wall_clock(start: datetime | None) -> Callable[[], datetime]:
    """The clock on the wall, or one that shows `start` now and runs on from there."""
    shift = start - datetime.now(UTC) if start else timedelta(0)
    return lambda: datetime.now(UTC) + shift


def serve(clinic: PracticeClinic, port: int) -> None:
    """Serve the practice clinic on loopback until SIGTERM or SIGINT, then finish what is in flight."""
    from bracewatch import worker
    from bracewatch.web.app import create_app

    app = create_app(clinic.store, clock=clinic.now, secret=clinic.secret, practice=clinic)
    server = listen(app, host="127.0.0.1", port=port, threads=4)
    ticking = worker.start(clinic.tick, every_seconds=TICK_SECONDS)
    click.echo(f"\nThe practice clinic is open at http://127.0.0.1:{server.effective_port} (Ctrl+C closes it)")
    try:
        server.run()  # comes back after SIGTERM or Ctrl+C, when what was in flight is done
    finally:
        ticking.shutdown(wait=True)
        server.close()
    click.echo("Closed. Start it again and it goes on where it was.")
