"""What contradicts the plan. Which decisions there are is the protocol's; the order of days is common sense."""

from datetime import date

import pytest

from bracewatch.schedule import protocol
from bracewatch.schedule.facts import Course, Fact, FactKind
from bracewatch.schedule.plausible import against_plan

BORN, START = date(2026, 1, 10), date(2026, 3, 1)
END = date(2030, 1, 10)  # the fourth birthday, and the end of bracing
TEXT = protocol.shipped("graded-step-down").text


def two_decisions() -> protocol.Protocol:
    """The gradual protocol, with a second decision at the end of its second step."""
    text = TEXT.replace('lasts = "P1M"\nasks', 'lasts = "P1M"\ngate = "second-step"\nasks', 1)
    visit = (
        '[[variant.visit]]\nkey = "second"\nname = "Second decision"\nafter = "P4M"\nopens = "P7D"\ncloses = "P7D"\n'
    )
    text = text.replace(
        "[[variant.visit]]", visit + 'decides = "second-step"\nsource = ["clinic"]\n\n[[variant.visit]]', 1
    )
    return protocol.parse(text, "two-decisions")


def faults(*facts: Fact, rules: protocol.Protocol | None = None) -> list[str]:
    return against_plan(rules or protocol.shipped("nights-to-four"), Course(BORN, START, facts))


def opened(number: int, on: date, gate: str = "step-down") -> Fact:
    return Fact(number, FactKind.GATE_OPENED, on, gate)


def test_a_decision_on_the_first_day_of_its_phase_leaves_it_no_day() -> None:
    said = "the decision 'step-down' on 2026-03-01 would leave no day of the phase it ends, which begins 2026-03-01"
    assert faults(opened(1, START)) == [said]
    assert faults(opened(1, date(2026, 3, 2))) == []


@pytest.mark.parametrize("numbers", [(1, 2), (2, 1)])
def test_a_second_decision_waits_for_the_first_whatever_was_typed_first(numbers: tuple[int, int]) -> None:
    first, second = numbers
    rules = two_decisions()
    late_first = opened(first, date(2026, 8, 1))
    assert faults(late_first, opened(second, date(2026, 7, 15), "second-step"), rules=rules) == [
        "the decision 'second-step' on 2026-07-15 would leave no day of the phase it ends, which begins 2026-08-01"
    ]
    assert faults(late_first, opened(second, date(2026, 8, 15), "second-step"), rules=rules) == []


def test_a_decision_that_was_taken_back_is_no_fault() -> None:
    taken_back = Fact(2, FactKind.GATE_TAKEN_BACK, date(2026, 3, 1), "step-down")
    assert faults(opened(1, START), taken_back) == []


def test_the_brace_is_not_paused_after_the_end() -> None:
    assert faults(Fact(1, FactKind.PAUSED, END)) == ["paused on 2030-01-10, but bracing ended on 2030-01-10"]
    assert faults(Fact(1, FactKind.PAUSED, date(2030, 1, 9))) == []


def test_the_brace_is_not_resumed_after_the_end_unless_bracing_was_lengthened() -> None:
    pause = (Fact(1, FactKind.PAUSED, date(2029, 12, 20)), Fact(2, FactKind.RESUMED, date(2030, 1, 20)))
    assert faults(*pause) == [
        "resumed on 2030-01-20, but bracing ended on 2030-01-10: say first until when it was lengthened"
    ]
    assert faults(*pause, Fact(3, FactKind.LENGTHENED, date(2030, 1, 8), "", date(2030, 7, 1))) == []


def test_bracing_is_lengthened_within_sixty_days_of_its_end_and_later_it_is_a_new_course() -> None:
    assert faults(Fact(1, FactKind.LENGTHENED, date(2030, 3, 12), "", date(2031, 1, 1))) == [
        "lengthened on 2030-03-12, but bracing ended on 2030-01-10: the brace is on again as a new course"
    ]
    assert faults(Fact(1, FactKind.LENGTHENED, date(2030, 3, 11), "", date(2031, 1, 1))) == []


def test_a_second_lengthening_counts_from_the_first() -> None:
    first = Fact(1, FactKind.LENGTHENED, date(2030, 1, 5), "", date(2031, 1, 1))
    assert faults(first, Fact(2, FactKind.LENGTHENED, date(2031, 1, 20), "", date(2031, 9, 1))) == []
    assert len(faults(first, Fact(2, FactKind.LENGTHENED, date(2031, 3, 20), "", date(2031, 9, 1)))) == 1
