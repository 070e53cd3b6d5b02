"""The provider's signature, against its public worked example and its own package.

The package (`twilio.request_validator`, MIT, pinned with the others) is the reference: it is what the provider
gives out to check its signatures with.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from twilio.request_validator import RequestValidator
from werkzeug.datastructures import MultiDict

from bracewatch.messages.signature import is_signed, sign

# Twilio's public security documentation, worked example. READ
KEY = "12345"
URL = "https://mycompany.com/myapp.php?foo=1&bar=2"
FIELDS = [
    ("CallSid", "CA1234567890ABCDE"),
    ("Caller", "+14158675309"),
    ("Digits", "1234"),
    ("From", "+14158675309"),
    ("To", "+18005551212"),
]
SIGNATURE = "RSOYDt4T1cUTdK1PDd93/VVr8B8="

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
fields = st.lists(st.tuples(text, text), max_size=8)
urls = st.builds(
    "{}://{}{}/hooks{}".format,
    st.sampled_from(["https", "http"]),
    st.sampled_from(["clinic.example", "a.b.example"]),
    st.sampled_from(["", ":443", ":80", ":8443"]),
    st.sampled_from(["", "?reference=check-in%3A7%3A2026-09-01", "?a=1&a=2&b="]),
)


class Form(MultiDict[str, str]):
    """A form as the package reads one with repeated names."""

    def getall(self, name: str) -> list[str]:
        return self.getlist(name)


def test_the_public_worked_example_is_signed_as_published() -> None:
    assert sign(KEY, URL, FIELDS) == SIGNATURE
    assert sign(KEY, URL, reversed(FIELDS)) == SIGNATURE
    assert is_signed(KEY, URL, FIELDS, SIGNATURE)


@pytest.mark.parametrize(
    ("secret", "url", "given_fields", "signature"),
    [
        pytest.param("12346", URL, FIELDS, SIGNATURE, id="another secret"),
        pytest.param(KEY, URL.replace("bar=2", "bar=3"), FIELDS, SIGNATURE, id="another query"),
        pytest.param(KEY, URL.replace("mycompany", "yourcompany"), FIELDS, SIGNATURE, id="another host"),
        pytest.param(KEY, URL.replace("https", "http"), FIELDS, SIGNATURE, id="another scheme"),
        pytest.param(KEY, URL, FIELDS[1:], SIGNATURE, id="a field less"),
        pytest.param(KEY, URL, [*FIELDS, ("New", "")], SIGNATURE, id="a field more"),
        pytest.param(KEY, URL, [*FIELDS, ("To", "+1")], SIGNATURE, id="a name repeated"),
        pytest.param(KEY, URL, FIELDS, SIGNATURE[:-1], id="cut short"),
        pytest.param(KEY, URL, FIELDS, "", id="empty"),
        pytest.param(KEY, URL, FIELDS, "ünïcode", id="no base64 at all"),
    ],
)
def test_whatever_differs_is_not_signed(
    secret: str, url: str, given_fields: list[tuple[str, str]], signature: str
) -> None:
    assert not is_signed(secret, url, given_fields, signature)


@given(st.text(st.characters(codec="ascii"), min_size=1, max_size=40), urls, fields)
def test_every_form_is_signed_as_the_providers_own_package_does(
    secret: str, url: str, form: list[tuple[str, str]]
) -> None:
    assert sign(secret, url, form) == RequestValidator(secret).compute_signature(url, Form(form))


@given(urls, fields, urls, fields)
def test_a_signature_holds_exactly_where_the_providers_own_package_says_so(
    url: str, form: list[tuple[str, str]], other_url: str, other_form: list[tuple[str, str]]
) -> None:
    signature = RequestValidator(KEY).compute_signature(other_url, Form(other_form))
    for each in (url, other_url):
        for kept in (form, other_form):
            expected = RequestValidator(KEY).validate(each, Form(kept), signature)
            assert is_signed(KEY, each, kept, signature) == expected
