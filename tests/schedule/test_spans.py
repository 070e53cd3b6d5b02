import pytest

from bracewatch.schedule.spans import Span


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("P3M", Span(3)),
        ("P14D", Span(0, 14)),
        ("P12W", Span(0, 84)),
        ("P4Y", Span(48)),
        ("P1Y2M3W4D", Span(14, 25)),
    ],
)
def test_iso_durations_are_read(text: str, span: Span) -> None:
    assert Span.parse(text) == span


@pytest.mark.parametrize("text", ["", "P", "3M", "P-3M", "P3", "PT3H", "P1.5M", "P0D", " P3M", "P3M ", "p3m", "P٣M"])
def test_anything_else_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(ValueError, match="duration"):
        Span.parse(text)


def test_a_span_prints_as_it_is_read() -> None:
    assert str(Span.parse("P4Y")) == "P4Y"
    assert str(Span.parse("P12W")) == "P84D"
    assert Span.parse(str(Span(14, 25))) == Span(14, 25)
