"""Error codes and what they allow the sender to do.

Source: Twilio's public error reference, www.twilio.com/docs/api/errors/<code>. READ = its page was seen for
this project; READ-2 = its title was seen in the reference's list or in another program's copy of it.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.messages.adapter import Outcome
from bracewatch.messages.provider_codes import OUTCOMES, outcome_of

# READ: 21612 21635 63003. READ-2: the rest.
PERMANENT = {21211, 21612, 21614, 21635, 30004, 30005, 30006, 30007, 63003, 63024}
# READ: 63014. READ-2: 21610.
OPTED_OUT = {21610, 63014}
# READ: 20429 21611 21702 21730 30001 30022. READ-2: the rest.
TRANSIENT = {20429, 21611, 21702, 21730, 30001, 30003, 30008, 30017, 30022}
# READ: 10001 21602 21603 21604 21606 21609 21659 21660 21661 21701 21705 30002 63007. READ-2: the rest.
ACCOUNT = {
    *(10001, 20003, 20404, 21212, 21408, 21602, 21603, 21604, 21605, 21606, 21608, 21609, 21617),
    *(21659, 21660, 21661, 21701, 21703, 21704, 21705, 30002, 30018, 30034, 63007, 63016),
}
TABLE = [
    *((code, Outcome.PERMANENT) for code in sorted(PERMANENT)),
    *((code, Outcome.OPTED_OUT) for code in sorted(OPTED_OUT)),
    *((code, Outcome.TRANSIENT) for code in sorted(TRANSIENT)),
    *((code, Outcome.ACCOUNT) for code in sorted(ACCOUNT)),
]


@pytest.mark.parametrize(("code", "outcome"), TABLE)
@pytest.mark.parametrize("http_status", [400, None])
def test_a_known_code_has_its_class_in_answers_and_in_delivery_reports(
    code: int, outcome: Outcome, http_status: int | None
) -> None:
    assert outcome_of(code, http_status) is outcome


def test_the_table_holds_these_codes_and_no_others() -> None:
    assert dict(OUTCOMES) == dict(TABLE)
    assert len(OUTCOMES) == len(TABLE)  # no code in two classes


@pytest.mark.parametrize("code", [30036, 21265, 99999, 12345])
@pytest.mark.parametrize("http_status", [400, 403, 404, None])
def test_an_unknown_code_is_permanent_for_its_message(code: int, http_status: int | None) -> None:
    # 30036 (validity period over, READ) and 21265 (a short code, READ) need no entry for the same reason.
    assert outcome_of(code, http_status) is Outcome.PERMANENT


def test_a_failed_report_without_a_code_is_permanent_for_its_message() -> None:
    assert outcome_of(None, None) is Outcome.PERMANENT


@pytest.mark.parametrize(
    ("http_status", "outcome"),
    [
        (201, Outcome.IN_DOUBT),
        (302, Outcome.ACCOUNT),
        (400, Outcome.PERMANENT),
        (401, Outcome.ACCOUNT),
        (403, Outcome.ACCOUNT),
        (404, Outcome.ACCOUNT),
        (407, Outcome.ACCOUNT),
        (408, Outcome.IN_DOUBT),
        (429, Outcome.TRANSIENT),
        (500, Outcome.IN_DOUBT),
        (503, Outcome.IN_DOUBT),
    ],
)
def test_without_a_code_the_status_decides(http_status: int, outcome: Outcome) -> None:
    assert outcome_of(None, http_status) is outcome


def test_an_unknown_code_beside_a_refused_sign_in_is_our_account() -> None:
    assert outcome_of(99999, 401) is Outcome.ACCOUNT


def test_an_unknown_code_beside_too_many_requests_is_transient() -> None:
    # Page 20429 (READ): requests answered with 429 are not processed and are safe to repeat.
    assert outcome_of(99999, 429) is Outcome.TRANSIENT


codes = st.one_of(st.none(), st.sampled_from(sorted(OUTCOMES)), st.integers(0, 999_999))


@given(code=codes, http_status=st.integers(500, 599))
def test_a_server_error_is_in_doubt_whatever_its_code(code: int | None, http_status: int) -> None:
    # Page 20500 (READ): repeating a send after a 500 can reach the person twice.
    assert outcome_of(code, http_status) is Outcome.IN_DOUBT


@given(code=codes, http_status=st.one_of(st.none(), st.integers(100, 599)))
def test_nothing_is_tried_again_unless_it_was_surely_not_sent(code: int | None, http_status: int | None) -> None:
    if outcome_of(code, http_status) is Outcome.TRANSIENT:
        assert code in TRANSIENT or http_status == 429
