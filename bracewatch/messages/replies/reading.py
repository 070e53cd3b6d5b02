"""What a reply was read as."""

from dataclasses import dataclass

from bracewatch.messages.kinds import Meaning, Next


@dataclass(frozen=True, slots=True)
class Reading:
    """The reading of one reply.

    `value`: (low, high), equal for one number, in hours a day or nights a week as `meaning` says; for a
    TROUBLE it is in the unit that was asked for; None when no count was read.
    `confidence`: 0..1, a ranking and no probability; nothing under 0.6 is ever kept without a person.
    `rule`: a stable id of the rule that read it. `next`: what to do with it; a count or an answer handed to
    staff is a proposal for them to confirm. A STOP is honoured whatever its `next`; to staff, it was one wish
    among others ("don't text me at night") that a person should read.
    `about`: for TROUBLE one of toes, skin, pain, broken, fit, small, crying, or None when it names none.
    """

    meaning: Meaning
    value: tuple[float, float] | None
    confidence: float
    rule: str
    next: Next
    about: str | None = None
