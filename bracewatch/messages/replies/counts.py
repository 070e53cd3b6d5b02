"""Reading hours and nights: which count answers the question, whether it can be true, how sure that is."""

from dataclasses import dataclass

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.messages.replies.amounts import Amount
from bracewatch.messages.replies.marks import BREAK, ODD
from bracewatch.messages.replies.reading import Reading
from bracewatch.messages.replies.scene import Scene

MOST_HOURS = 24.0
MOST_NIGHTS = 7.0
LONGEST_JOURNEY_HOURS = 6.0  # "half an hour" to "are you coming?" is a journey, "22 hours" is not [practice]
LEAST_OF_A_WHOLE = 12.0  # "all day" and "all night" are at least so many hours [practice]
SURE_ENOUGH = 0.6
# How sure a reading is: rankings set by hand, not probabilities. [practice]
_SAID, _ASKED = 0.95, 0.9
_LESS_FOR_ABOUT, _LESS_FOR_SLIP, _LESS_FOR_DAYS = 0.1, 0.25, 0.2
_WITH_LOOSE_ENDS = 0.5

_HOURS, _NIGHTS = "hours", "nights"
_OF = {_HOURS: MOST_HOURS, _NIGHTS: MOST_NIGHTS}


@dataclass(frozen=True, slots=True)
class _Choice:
    """The counts of one kind that the reply could mean."""

    kind: str
    amounts: tuple[Amount, ...]


def count(scene: Scene) -> Reading | None:
    """The reading of the counts in a reply, or None when it has none.

    A count that cannot be true (25 hours) is unread, never clipped. Two counts that disagree are unread.
    """
    amounts = scene.amounts or _all_nights(scene)
    if not amounts:
        is_vague = scene.asks_for_a_count and scene.where("about.vague") and not scene.denied("trouble.")
        return _unread(scene, "count.vague") if is_vague else None
    fault = _fault_of_the_reply(scene)
    if fault is not None:
        return _unread(scene, fault)
    choice = _choice(scene, amounts)
    if isinstance(choice, str):
        return _unread(scene, choice)
    if choice.kind == _NIGHTS and scene.where("about.all") and any(a.low != MOST_NIGHTS for a in amounts):
        return _unread(scene, "count.two")
    if choice.kind == _HOURS and any(_may_be_added(scene, a) for a in choice.amounts):
        return _unread(scene, "count.in_doubt")
    if choice.kind == _NIGHTS and scene.where("talk.when") and any(_is_bare_zero(scene, a) for a in choice.amounts):
        return _unread(scene, "count.in_doubt")  # "did not wear it yesterday" is one night of seven
    fault = _fault_of_the_count(choice)
    return _unread(scene, fault) if fault is not None else _kept(scene, amounts, choice)


def trouble_count(scene: Scene, trouble_at: int) -> tuple[float, float] | None:
    """The count said, in the unit asked for, before a trouble was told of ("20 but her heel is red").

    None when it may belong to the trouble ("one blister", "red for 2 days") or is in any doubt.
    """
    before = tuple(a for a in scene.amounts if a.end <= trouble_at)
    if len(scene.amounts) != 1 or not before or not scene.asks_for_a_count or _fault_of_the_reply(scene):
        return None
    amount = before[0]
    choice = _choice(scene, before)
    if isinstance(choice, str) or choice.kind != scene.asked.value or _fault_of_the_count(choice):
        return None
    is_apart = scene.marks[amount.end].has(BREAK, "negation.but", "range.and")
    return (amount.low, amount.high) if is_apart and not scene.where("wishes.brace_off") else None


def _all_nights(scene: Scene) -> tuple[Amount, ...]:
    """ "All" answers how many nights, "all fine" does not. It is no number of hours: "all day" may leave out
    the night."""
    found = scene.where("about.all")
    if scene.asked is not Asked.NIGHTS or not found or any(scene.marks[i].loose for i in found):
        return ()
    beside = ("about.all", "talk.courtesy", "talk.when", "units.nights", "units.days", BREAK)
    is_alone = all(m.has(*beside) or (m.has("answers.yes") and i < found[0]) for i, m in enumerate(scene.marks))
    return (Amount(MOST_NIGHTS, MOST_NIGHTS, _NIGHTS, found[0], found[0] + 1),) if is_alone else ()


def _fault_of_the_reply(scene: Scene) -> str | None:
    """Why no count in this reply can be trusted, whichever it is."""
    if scene.where(ODD) or _has_a_clock_time(scene):
        return "digits.not_a_count"
    if scene.where("talk.question", "answers.maybe", "answers.change"):
        return "count.in_doubt"
    if scene.plain_no or scene.denials.spare or scene.denied("answers.yes"):
        return "count.denied"
    if scene.where("about.bound", "about.vague", "fractions."):
        read = {i for a in scene.amounts for i in range(a.start, a.end)}
        if set(scene.where("about.bound", "about.vague", "fractions.")) - read:
            return "count.bounded"
    return None


def _has_a_clock_time(scene: Scene) -> bool:
    if any(a.unit == "clock" for a in scene.amounts):
        return True
    if any(not scene.marks[i].has("talk.plain") for i in scene.where("units.clock")):  # "am" is a verb too
        return True
    maybe = scene.where("units.hours_or_clock") and scene.where("units.daypart")  # "saa nane usiku"
    return bool(maybe) and not scene.where("units.hours")


def _choice(scene: Scene, amounts: tuple[Amount, ...]) -> _Choice | str:
    """The counts that answer, or the rule id that says why none does."""
    said = {kind: tuple(a for a in amounts if a.unit == kind) for kind in (_HOURS, _NIGHTS)}
    bare = tuple(a for a in amounts if not a.unit)
    if not scene.asks_for_a_count:
        return _unasked(scene, amounts, said, bare)
    asked = scene.asked.value
    other = _NIGHTS if asked == _HOURS else _HOURS
    mine = said[asked] + bare + tuple(a for a in amounts if a.unit in _LOOSE_UNITS[asked])
    unclear = (f"units.{other}", "units.daypart" if asked == _HOURS else "units.hours_or_clock")
    if bare and not said[asked] and scene.where(*unclear):
        return "count.unit_unclear"  # "6 full hours" when nights were asked, "6 at night" when hours were
    if other == _NIGHTS and any(a.day_part for a in said[other]):
        return "count.unit_unclear"  # "usiku 6", "mchana saa 12 usiku 10": hours at night?
    if mine:
        return _Choice(asked, mine)
    if said[other]:
        return _Choice(other, said[other])
    return "count.of_something_else"


# Units that stand in for the one asked: an hour that may be a clock hour, days for nights.
_LOOSE_UNITS = {_HOURS: ("hours_or_clock",), _NIGHTS: ("days",)}


def _unasked(
    scene: Scene, amounts: tuple[Amount, ...], said: dict[str, tuple[Amount, ...]], bare: tuple[Amount, ...]
) -> _Choice | str:
    """A count nobody asked for is read only when it names its own unit."""
    clock_or_hours = tuple(a for a in amounts if a.unit == "hours_or_clock" and a.low > scene.clock_hours)
    hours, nights = said[_HOURS] + clock_or_hours, said[_NIGHTS]
    may_be_journey = scene.asked is Asked.COMING and any(a.low < LONGEST_JOURNEY_HOURS for a in hours)
    may_be_clock = hours and scene.where("units.daypart")  # "mañana 14 horas" is an appointment
    if bare or may_be_journey or may_be_clock or bool(hours) == bool(nights):
        return "count.unasked"
    if any(a.day_part for a in nights):
        return "count.unit_unclear"
    return _Choice(_HOURS, hours) if hours else _Choice(_NIGHTS, nights)


def _may_be_added(scene: Scene, amount: Amount) -> bool:
    """ "All night and 4 hours" is more than 4; "all day, 23 hours" is 23."""
    whole = scene.where("about.whole")
    joined = any(m.has("range.and") for i in whole for m in scene.marks[max(i - 1, 0) : i + 2])
    return bool(whole) and (joined or amount.low < LEAST_OF_A_WHOLE)


def _is_bare_zero(scene: Scene, amount: Amount) -> bool:
    return amount.high == 0 and not amount.unit and scene.marks[amount.start].has("numbers.")


def _fault_of_the_count(choice: _Choice) -> str | None:
    amounts, most = choice.amounts, _OF[choice.kind]
    if any(a.doubtful or a.whole not in (None, most) for a in amounts):
        return "count.in_doubt"
    if any(not 0 <= a.low <= a.high <= most for a in amounts):
        return "count.out_of_range"
    if len({(a.low, a.high) for a in amounts}) > 1:
        return "count.two"
    is_whole = all(a.low.is_integer() and a.high.is_integer() for a in amounts)
    return None if is_whole or choice.kind == _HOURS else "count.part_of_a_night"


def _kept(scene: Scene, amounts: tuple[Amount, ...], choice: _Choice) -> Reading:
    amount = choice.amounts[0]
    meaning = Meaning.HOURS if choice.kind == _HOURS else Meaning.NIGHTS
    is_said = any(a.unit == choice.kind for a in choice.amounts) or not scene.asks_for_a_count
    rule = f"{choice.kind}.{'said' if is_said else 'asked'}"
    sure = _confidence(scene, amounts, choice, is_said)
    following = Next.KEEP if sure >= SURE_ENOUGH else Next.TO_STAFF
    return Reading(meaning, (amount.low, amount.high), sure, rule, following)


def _confidence(scene: Scene, amounts: tuple[Amount, ...], choice: _Choice, is_said: bool) -> float:
    sure = _SAID if is_said else _ASKED
    sure -= _LESS_FOR_ABOUT * any(a.about for a in choice.amounts)
    sure -= _LESS_FOR_SLIP * any(mark.loose for mark in scene.marks)
    sure -= _LESS_FOR_DAYS * any(a.unit == "days" for a in choice.amounts)
    no_strangers = ("", _HOURS, *_LOOSE_UNITS[_HOURS], _NIGHTS)  # "20 horas 5 noites": hours may stand beside nights
    strangers = [a for a in amounts if a.unit not in no_strangers and a not in choice.amounts]
    if scene.loose_ends or strangers:
        sure = min(sure, _WITH_LOOSE_ENDS)
    return round(sure, 2)


def _unread(scene: Scene, rule: str) -> Reading:
    """A count that was not read: asked for again when a count was the question and nothing else was said."""
    said_more = any(not scene.marks[i].has("units.clock", "about.vague") for i in scene.loose_ends)
    again = scene.asks_for_a_count and (scene.is_short or not said_more)
    return Reading(Meaning.UNREAD, None, 0.0, rule, Next.ASK_AGAIN if again else Next.TO_STAFF)
