"""What becomes of the replies in the corpora, by language.

    python bench/replies.py

bench/README.md says what the figures are worth.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

from bracewatch.messages.kinds import Asked, Next
from bracewatch.messages.replies import languages, understand

CORPORA = Path(__file__).parents[1] / "tests" / "messages"
NO_ESTIMATE = (
    "The corpora were written together with the lexicons, and the tests hold the lexicons to them: the share read as "
    "expected is no estimate of what the replies of real families would give."
)
ALL, RIGHT = "all", "right"
COLUMNS = (ALL, RIGHT, Next.KEEP, Next.ASK_AGAIN, Next.TO_STAFF)


def main() -> None:
    print(
        "| language | replies | read as expected | kept | asked again | handed to a human |\n|---|---|---|---|---|---|"
    )
    total: Counter[str] = Counter()
    for language in languages():
        counted = count(language)
        print(line(language, counted))
        total += counted
    print(line("all languages", total))
    print(f"\n{NO_ESTIMATE}")


def count(language: str) -> Counter[str]:
    """Of a language's corpus: how many replies there are, how many are read as it says, what is done with them."""
    counted: Counter[str] = Counter()
    for row in tomllib.loads((CORPORA / f"replies_{language}.toml").read_text(encoding="utf-8"))["reply"]:
        reading = understand(row["text"], language=language, asked=Asked(row["asked"]))
        value = None if reading.value is None else list(reading.value)
        expected = (row["meaning"], row.get("value"), row["next"], row.get("about"))
        counted[ALL] += 1
        counted[RIGHT] += (reading.meaning, value, reading.next, reading.about) == expected
        counted[reading.next] += 1
    return counted


def line(name: str, counted: Counter[str]) -> str:
    shares = [f"{counted[column]:,} ({counted[column] / counted[ALL]:.1%})" for column in COLUMNS[1:]]
    return f"| {name} | {counted[ALL]:,} | {' | '.join(shares)} |"


if __name__ == "__main__":
    main()
