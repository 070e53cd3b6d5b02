"""One child's facts in; what to say, what to flag and when to look again out. Pure."""

from bracewatch.review.case import Call, Caregiver, Case, Heard, Question, Written
from bracewatch.review.review import Review, review

__all__ = ["Call", "Caregiver", "Case", "Heard", "Question", "Review", "Written", "review"]
