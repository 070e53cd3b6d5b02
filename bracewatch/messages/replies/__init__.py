"""Reading what a caregiver wrote, in the light of the last question and in the caregiver's language.

Pure: a text in, a `Reading` out. A misread that hides trouble is the worst error, a needless hand-over to
staff a mild one, so whatever is not understood is asked for again or handed over and never guessed.
All words of a language live in `lexicons/<language>.toml`; the code has none.
"""

from bracewatch.messages.kinds import Asked
from bracewatch.messages.replies.lexicon import LexiconError, languages, lexicon
from bracewatch.messages.replies.reading import Reading
from bracewatch.messages.replies.rules import read
from bracewatch.messages.replies.scene import set_scene

__all__ = ["LexiconError", "Reading", "languages", "understand"]


def understand(text: str, *, language: str, asked: Asked) -> Reading:
    """The reading of one reply. English words are understood in every language.

    Never raises for any text. Raises ValueError naming the shipped languages for another language.
    """
    return read(set_scene(text, lexicon(language), asked))
