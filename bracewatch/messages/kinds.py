"""The names the parts of the messages room share. Their values are stored, so they never change."""

from enum import StrEnum


class Asked(StrEnum):
    """What the last question to this caregiver asked; NOTHING when no question is open."""

    HOURS = "hours"
    NIGHTS = "nights"
    COMING = "coming"
    NOTHING = "nothing"


class Meaning(StrEnum):
    """What a caregiver's reply says; UNREAD when the program does not know."""

    HOURS = "hours"
    NIGHTS = "nights"
    COMING = "coming"
    NOT_COMING = "not_coming"
    TROUBLE = "trouble"
    CALL_ME = "call_me"
    STOP = "stop"
    START = "start"
    HELP = "help"
    WRONG_PERSON = "wrong_person"
    MOVED = "moved"
    UNREAD = "unread"


class Next(StrEnum):
    """What happens with a reply: keep its reading, ask the caregiver once more, or hand it to staff."""

    KEEP = "keep"
    ASK_AGAIN = "ask_again"
    TO_STAFF = "to_staff"


class Kind(StrEnum):
    """Every text the program sends."""

    WELCOME = "welcome"
    CHECK_IN_HOURS = "check_in_hours"
    CHECK_IN_NIGHTS = "check_in_nights"
    VISIT_REMINDER = "visit_reminder"
    MISSED_VISIT = "missed_visit"
    # answers to what a caregiver wrote:
    THANKS = "thanks"
    TROUBLE_HEARD = "trouble_heard"
    CALL_HEARD = "call_heard"
    ASK_AGAIN_HOURS = "ask_again_hours"
    ASK_AGAIN_NIGHTS = "ask_again_nights"
    ASK_AGAIN = "ask_again"
    HELP = "help"
    STOPPED = "stopped"
    STARTED = "started"
    NOT_COMING_HEARD = "not_coming_heard"
    COMING_HEARD = "coming_heard"
