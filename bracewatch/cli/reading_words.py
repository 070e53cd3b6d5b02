"""Why a reply was read as it was, in words: one sentence for each rule of the reader."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

WHY: Mapping[str, str] = MappingProxyType(
    {
        "stop.whole": "the whole reply is a wish for no more messages",
        "stop.word": "the reply is one of the network's words for stopping",
        "stop.among_words": "a wish for no more messages stands among other words",
        "start.word": "the reply is one of the words for starting again",
        "help.word": "the reply is a word for help",
        "grief.said": "it speaks of a death: no text is sent by machine",
        "trouble.said": "it tells of the skin, the toes, pain or the brace, which goes before everything else",
        "trouble.maybe": "it may tell of trouble, and a person has to find out",
        "call.asked": "it asks for a call",
        "person.wrong": "it says that this is the wrong person",
        "place.moved": "it says that the family has moved",
        "brace.off": "it says that the brace is off, which is neither a wish to stop messages nor a number of hours",
        "wish.unclear": "one of the words for stopping, starting or help stands among others",
        "coming.coming": "it says that they come",
        "coming.not_coming": "it says that they do not come",
        "coming.cancel": "it calls off the visit that was asked about",
        "coming.mixed": "it says that they come and that they do not, or is unsure",
        "coming.and_more": "it says whether they come, unasked or beside other things",
        "hours.said": "a number with its unit, hours",
        "hours.asked": "a number, and hours were asked",
        "nights.said": "a number with its unit, nights",
        "nights.asked": "a number, and nights were asked",
        "count.two": "it names numbers that disagree",
        "count.out_of_range": "there are not so many hours in a day, or nights in a week",
        "count.part_of_a_night": "it names a part of a night",
        "count.vague": "it names an amount without saying how much",
        "count.in_doubt": "the number comes with a question or a doubt",
        "count.denied": "the number comes with a no",
        "count.bounded": "the number is only a bound or half a word",
        "count.unasked": "a number without a unit, and nothing was asked that it could answer",
        "count.unit_unclear": "it is not clear whether the number counts hours or nights",
        "count.of_something_else": "the number counts something else",
        "digits.not_a_count": "the digits are a time, a date, a telephone number or the like",
        "signs.only": "signs alone answer nothing that was asked",
        "courtesy.only": "thanks, and nothing was asked",
        "nothing.read": "none of the words answers anything",
    }
)


def why(rule: str) -> str:
    """The sentence for a rule's stable id. Raises KeyError for an id that no rule has."""
    return WHY[rule]
