"""Reading what a caregiver wrote, in the light of the last question and in the caregiver's language.

Pure: a text in, a `Reading` out. A misread that hides trouble is the worst error, a needless hand-over to
staff a mild one, so whatever is not understood is asked for again or handed over and never guessed.

What was decided where it could have been otherwise:
* trouble beats everything but a reply that is wholly a stop wording; denied trouble ("no pain") is no trouble;
* an opt-out word alone is a STOP even when hours were asked; only "cancel" answers "are you coming?";
* the brace taken off, left off or given up is UNREAD and goes to staff (rule "brace.off"), never a STOP;
* "all day", "all night", "24/7" are no number of hours and are asked again; "all" is seven nights;
* a count beside a word nobody knows is a proposal for staff, because the word may tell of trouble;
* a death is UNREAD with the rule "grief.said" so that no automatic text answers it;
* thanks when nothing was asked is UNREAD with the rule "courtesy.only" so that staff may pass over it.

All words of a language live in `lexicons/<language>.toml`; the code has none.
"""

from bracewatch.messages.kinds import Asked
from bracewatch.messages.replies.lexicon import LexiconError, languages, lexicon_of
from bracewatch.messages.replies.reading import Reading
from bracewatch.messages.replies.rules import read
from bracewatch.messages.replies.scene import set_scene

__all__ = ["LexiconError", "Reading", "languages", "understand"]


def understand(text: str, *, language: str, asked: Asked) -> Reading:
    """The reading of one reply. English words are understood in every language.

    Never raises for any text. Raises ValueError naming the shipped languages for another language.
    """
    return read(set_scene(text, lexicon_of(language), asked))
