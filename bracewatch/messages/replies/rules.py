"""The rules that read a reply, in the order they are tried: what protects the child comes first."""

from collections.abc import Callable

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.messages.replies.counts import count, trouble_count
from bracewatch.messages.replies.lexicon import ABOUTS
from bracewatch.messages.replies.marks import BREAK, NUMBER, ODD
from bracewatch.messages.replies.reading import Reading
from bracewatch.messages.replies.scene import Scene

Rule = Callable[[Scene], Reading | None]


def to_staff(meaning: Meaning, confidence: float, rule: str) -> Reading:
    """A reading without a value that a person must look at."""
    return Reading(meaning, None, confidence, rule, Next.TO_STAFF)


def _stop(scene: Scene) -> Reading | None:
    """The whole reply is a wish to get no more messages. Honoured whatever was asked."""
    if scene.is_only("wishes.stop", "wishes.stop_messages", beside="wishes.message_words"):
        loose = any(mark.loose for mark in scene.marks)
        return Reading(Meaning.STOP, None, 0.7 if loose else 0.95, "stop.whole", Next.KEEP)
    return None


def _grief(scene: Scene) -> Reading | None:
    """Words of a death: a person answers, never an automatic text."""
    if scene.where("wishes.grief"):
        return to_staff(Meaning.UNREAD, 0.0, "grief.said")
    return None


def _trouble(scene: Scene) -> Reading | None:
    found = scene.where("trouble.")
    if scene.where("talk.question"):  # "is it not red?" asks about a trouble, it denies none
        found = [i for i, mark in enumerate(scene.marks) if mark.has("trouble.")]
    abouts = {a for i in found for a in (*ABOUTS, "other") if scene.marks[i].has(f"trouble.{a}")}
    if scene.feet and scene.where("trouble.weak"):  # "cold" says something of toes only where a foot is named
        abouts.add("toes")
    if not abouts or (abouts == {"other"} and _tells_why_not_coming(scene)):
        return None
    about = next((a for a in ABOUTS if a in abouts), None)
    confidence = 0.7 if all(scene.marks[i].loose for i in found) else 0.9
    value = trouble_count(scene, min(found))
    return Reading(Meaning.TROUBLE, value, confidence, "trouble.said", Next.TO_STAFF, about)


def _tells_why_not_coming(scene: Scene) -> bool:
    """ "Cannot come, I am sick" answers the question; staff read it, but no trouble with the brace is told."""
    return scene.asked is Asked.COMING and bool(scene.where("answers.not_coming"))


def _call(scene: Scene) -> Reading | None:
    return to_staff(Meaning.CALL_ME, 0.9, "call.asked") if scene.where("wishes.call") else None


def _stop_among_words(scene: Scene) -> Reading | None:
    """A plain wish for no more messages inside a longer reply: it counts, and a person reads the rest."""
    if scene.where("wishes.stop_messages"):
        return to_staff(Meaning.STOP, 0.55, "stop.among_words")
    return None


def _wrong_person(scene: Scene) -> Reading | None:
    found = scene.where("wishes.wrong_person")
    return to_staff(Meaning.WRONG_PERSON, 0.85, "person.wrong") if found else None


def _moved(scene: Scene) -> Reading | None:
    return to_staff(Meaning.MOVED, 0.8, "place.moved") if scene.where("wishes.moved") else None


def _brace_off(scene: Scene) -> Reading | None:
    """ "We stopped using it", "took it off", "except 2 hours": no opt-out and no hours worn; a person asks."""
    if scene.where("wishes.brace_off"):
        return to_staff(Meaning.UNREAD, 0.0, "brace.off")
    return None


def _opt_word_alone(scene: Scene) -> Reading | None:
    """The provider's other words. "Cancel" answers a question about a visit; alone it is an opt-out."""
    if scene.asked is Asked.COMING and scene.is_only("wishes.cancel"):
        return Reading(Meaning.NOT_COMING, None, 0.85, "coming.cancel", Next.KEEP)
    for meaning, rule, senses in (
        (Meaning.STOP, "stop.word", ("wishes.end", "wishes.cancel")),
        (Meaning.HELP, "help.word", ("wishes.help",)),
        (Meaning.START, "start.word", ("wishes.start",)),
    ):
        if scene.is_only(*senses):
            return Reading(meaning, None, 0.9, rule, Next.KEEP)
    return None


def _opt_word_among_others(scene: Scene) -> Reading | None:
    """ "Can we stop?": the messages or the brace? A person finds out."""
    found = scene.where("wishes.stop", "wishes.end", "wishes.cancel", "wishes.help", "wishes.start")
    rest = [mark for mark in scene.marks if not mark.has(NUMBER, "numbers.", "talk.courtesy", BREAK)]
    # "Para" is "stop" in "20 para" and "for" in "20 para dormir".
    if any(not scene.marks[i].has("talk.plain") for i in found) or (found and all(m.has("wishes.") for m in rest)):
        return to_staff(Meaning.UNREAD, 0.0, "wish.unclear")
    return None


def _maybe_trouble(scene: Scene) -> Reading | None:
    """ "Cold" with no foot named, or a foot named and nothing known said of it."""
    if scene.where("trouble.weak") or scene.feet & scene.loose_ends:
        return to_staff(Meaning.UNREAD, 0.0, "trouble.maybe")
    return None


def _coming(scene: Scene) -> Reading | None:
    """An answer to "are you coming?", or coming and not coming said of themselves."""
    asked = scene.asked is Asked.COMING
    yes = bool(scene.where("answers.coming") or (asked and scene.where("answers.yes")))
    no = bool(scene.where("answers.not_coming") or scene.denied("answers.coming"))
    no = no or (asked and scene.plain_no)
    if not (yes or no):
        return None
    if _is_wavering(scene, yes, no):
        return scene_unread(scene, "coming.mixed")
    meaning = Meaning.COMING if yes else Meaning.NOT_COMING
    if not asked or scene.amounts or _coming_loose_ends(scene):
        return to_staff(meaning, 0.55, "coming.and_more")
    loose = any(mark.loose for mark in scene.marks)
    weak = not scene.where("answers.coming", "answers.not_coming")
    return Reading(meaning, None, 0.65 if loose else 0.85 if weak else 0.95, f"coming.{meaning}", Next.KEEP)


def _is_wavering(scene: Scene, yes: bool, no: bool) -> bool:
    doubts = scene.where("answers.maybe", "answers.change", "talk.question")
    return bool((yes and no) or doubts or scene.denied("answers.yes") or (yes and scene.stray_negation))


def _coming_loose_ends(scene: Scene) -> bool:
    """Whether words remain that could change the answer."""
    return any(not scene.marks[i].has("answers.") for i in scene.loose_ends)


def _picture(scene: Scene) -> Reading | None:
    """Signs alone, such as a thumb up, answer nothing but "are you coming?"."""
    if any(m.is_picture for m in scene.marks) and all(m.words == 0 for m in scene.marks):
        return to_staff(Meaning.UNREAD, 0.0, "signs.only")
    return None


def _courtesy(scene: Scene) -> Reading | None:
    """ "Ok thank you" when nothing was asked: nothing to read, told apart so that staff can pass over it."""
    polite = all(m.has("talk.courtesy", "answers.yes", BREAK) for m in scene.marks)
    if scene.is_open or not scene.where("talk.courtesy") or not polite:
        return None
    return to_staff(Meaning.UNREAD, 0.0, "courtesy.only")


def _unread(scene: Scene) -> Reading:
    if scene.denied("trouble.") and scene.loose_ends:  # "no pain medicine": was a trouble taken back or told?
        return to_staff(Meaning.UNREAD, 0.0, "trouble.maybe")
    return scene_unread(scene, "digits.not_a_count" if scene.where(ODD) else "nothing.read")


def scene_unread(scene: Scene, rule: str) -> Reading:
    """Unread: a short reply to an open question is asked for once more, anything else goes to staff."""
    again = scene.is_open and scene.is_short
    return Reading(Meaning.UNREAD, None, 0.0, rule, Next.ASK_AGAIN if again else Next.TO_STAFF)


RULES: tuple[Rule, ...] = (
    *(_stop, _grief, _trouble, _call, _stop_among_words, _wrong_person, _moved, _brace_off),
    *(_opt_word_alone, _opt_word_among_others, _maybe_trouble, _coming, count, _picture, _courtesy),
)


def read(scene: Scene) -> Reading:
    """The reading of the first rule that has one."""
    return next((reading for rule in RULES if (reading := rule(scene)) is not None), _unread(scene))
