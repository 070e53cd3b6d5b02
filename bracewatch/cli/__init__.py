"""The commands. They only translate: words in, one call, words out."""

from __future__ import annotations

import click

from bracewatch import __version__
from bracewatch.cli.hooks import hooks
from bracewatch.cli.planning import plan
from bracewatch.cli.practice import demo
from bracewatch.cli.protocols import protocol
from bracewatch.cli.texts import segments, understand
from bracewatch.cli.working import work


@click.group()
@click.version_option(__version__)
def main() -> None:
    """Bracing after clubfoot correction: the timeline, the reminders, the replies, and whom to call."""


for _command in (demo, hooks, plan, protocol, segments, understand, work):
    main.add_command(_command)
