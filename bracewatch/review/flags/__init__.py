"""The rules that raise flags, one a file. The order here is the order in which a card shows them."""

from bracewatch.review.flag import Rule
from bracewatch.review.flags import (
    asked_for_call,
    brace_trouble,
    cannot_come,
    low_wear,
    missed_visit,
    no_clinic_day,
    no_reply,
    number_fails,
    sore_skin,
    step_undecided,
    unread_reply,
    wants_no_messages,
)

RULES: tuple[Rule, ...] = (
    sore_skin.RULE,
    brace_trouble.RULE,
    asked_for_call.RULE,
    unread_reply.RULE,
    number_fails.RULE,
    low_wear.RULE,
    missed_visit.RULE,
    step_undecided.RULE,
    no_clinic_day.RULE,
    cannot_come.RULE,
    no_reply.RULE,
    wants_no_messages.RULE,
)

TITLES: dict[str, str] = {rule.code: rule.title for rule in RULES}
