"""Reading replies. Wordings, their readings and the confidence order are set by hand [PRACTICE]; number words
are written from memory [MEMORY]; digits are checked against the Unicode character database [READ]."""

import sys
import tomllib
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.messages.kinds import Asked, Meaning, Next
from bracewatch.messages.replies import LexiconError, Reading, languages, understand
from bracewatch.messages.replies import lexicon as lexicons

HERE = Path(__file__).parent
LANGUAGES = ("ar", "bn", "en", "es", "fr", "hi", "pt", "sw")
ABOUTS = {"toes", "skin", "pain", "broken", "fit", "small", "crying"}


def corpus(language: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = tomllib.loads((HERE / f"replies_{language}.toml").read_text(encoding="utf-8"))["reply"]
    return rows


def all_rows() -> list[Any]:
    return [
        pytest.param(language, row, id=f"{language}-{row['asked']}-{row['text'] or 'empty'}")
        for language in LANGUAGES
        for row in corpus(language)
    ]


def read(text: str, asked: str = "hours", language: str = "en") -> Reading:
    return understand(text, language=language, asked=Asked(asked))


# --- the corpus ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("language", "row"), all_rows())
def test_a_reply_of_the_corpus_is_read_as_it_says(language: str, row: dict[str, Any]) -> None:
    reading = read(row["text"], row["asked"], language)
    expected = tuple(row["value"]) if "value" in row else None
    assert reading.meaning == row["meaning"]
    assert reading.value == expected
    assert reading.next == row["next"]
    assert reading.about == row.get("about")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_corpus_of_a_language_is_large_and_holds_every_meaning(language: str) -> None:
    rows = corpus(language)
    assert len(rows) >= 50
    assert {row["meaning"] for row in rows} == set(Meaning)
    assert len({(row["text"], row["asked"]) for row in rows}) == len(rows)


@pytest.mark.parametrize("language", LANGUAGES)
def test_english_is_understood_in_every_language(language: str) -> None:
    for row in corpus("en"):
        here, in_english = (read(row["text"], row["asked"], code) for code in (language, "en"))
        assert (here.meaning, here.value, here.next, here.about) == (
            *(in_english.meaning, in_english.value, in_english.next, in_english.about),
        ), row


@pytest.mark.parametrize(("language", "row"), all_rows())
def test_a_reply_reads_the_same_in_every_unicode_form_and_in_capitals(language: str, row: dict[str, Any]) -> None:
    plain = read(row["text"], row["asked"], language)
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        if "½" not in row["text"]:  # a fraction sign is lost in the compatibility forms
            assert read(unicodedata.normalize(form, row["text"]), row["asked"], language) == plain
    assert read(row["text"].upper(), row["asked"], language) == plain
    assert read(f"  {row['text']} \n", row["asked"], language) == plain


def test_an_unknown_language_is_refused_with_the_shipped_ones_named() -> None:
    with pytest.raises(ValueError, match=f"'xx'; shipped: {', '.join(LANGUAGES)}"):
        understand("23", language="xx", asked=Asked.HOURS)
    assert languages() == LANGUAGES


# --- what must always hold ----------------------------------------------------------------------------------

any_asked = st.sampled_from(Asked)
any_language = st.sampled_from(LANGUAGES)


@st.composite
def wordy_text(draw: st.DrawFn) -> tuple[str, str]:
    """A language, and a text made of its own words, numbers and signs: far nastier than random letters."""
    language = draw(any_language)
    words = sorted(lexicons.lexicon_of(language).words)
    piece = st.sampled_from(words) | st.integers(-5, 130).map(str) | st.sampled_from(list("?.,-/+:%½٣५\n👍"))
    return language, draw(st.sampled_from([" ", " ", "", ". "])).join(draw(st.lists(piece, max_size=7)))


def assert_sound(reading: Reading) -> None:
    assert 0 <= reading.confidence <= 1
    if reading.next is Next.KEEP:
        assert reading.confidence >= 0.6
        assert reading.meaning not in {
            *(Meaning.UNREAD, Meaning.TROUBLE, Meaning.CALL_ME, Meaning.WRONG_PERSON, Meaning.MOVED),
        }
    if reading.meaning in (Meaning.HOURS, Meaning.NIGHTS):
        assert reading.value is not None
        low, high = reading.value
        assert 0 <= low <= high <= (24 if reading.meaning is Meaning.HOURS else 7)
        assert reading.meaning is Meaning.HOURS or (low.is_integer() and high.is_integer())
    elif reading.meaning is not Meaning.TROUBLE:
        assert reading.value is None
    assert reading.about is None or (reading.meaning is Meaning.TROUBLE and reading.about in ABOUTS)


@given(text=st.text(), language=any_language, asked=any_asked)
def test_no_text_makes_the_reader_fail_or_keep_an_impossible_count(text: str, language: str, asked: Asked) -> None:
    assert_sound(understand(text, language=language, asked=asked))


@given(wordy=wordy_text(), asked=any_asked)
def test_no_mixture_of_known_words_makes_the_reader_fail_or_keep_an_impossible_count(
    wordy: tuple[str, str], asked: Asked
) -> None:
    language, text = wordy
    assert_sound(understand(text, language=language, asked=asked))


def zeros() -> list[int]:
    """The code point of the digit zero of every script, from the Unicode character database."""
    return [c for c in range(sys.maxunicode + 1) if unicodedata.decimal(chr(c), None) == 0]


@given(
    text=st.from_regex(r"[0-9]{1,3}([.:/-][0-9]{1,2})?( hours| nights| baje)?", fullmatch=True),
    asked=any_asked,
    language=any_language,
    zero=st.sampled_from(zeros()),
)
def test_digits_of_every_script_read_as_ascii_digits(text: str, asked: Asked, language: str, zero: int) -> None:
    other = "".join(chr(zero + int(c)) if c.isascii() and c.isdigit() else c for c in text)
    assert understand(other, language=language, asked=asked) == understand(text, language=language, asked=asked)


@given(hours=st.integers(0, 24), language=any_language)
def test_whole_hours_of_a_day_are_read_as_themselves(hours: int, language: str) -> None:
    reading = read(str(hours), "hours", language)
    assert (reading.meaning, reading.value, reading.next) == (Meaning.HOURS, (hours, hours), Next.KEEP)


@given(number=st.integers(25, 999_999) | st.integers(-999, -1), language=any_language)
def test_impossible_hours_are_asked_for_again_and_never_clipped(number: int, language: str) -> None:
    reading = read(str(number), "hours", language)
    assert (reading.meaning, reading.value, reading.next) == (Meaning.UNREAD, None, Next.ASK_AGAIN)


@given(
    hours=st.integers(0, 24),
    stranger=st.text(alphabet="bcdfghjklmnpqrstvwxz", min_size=7, max_size=12),
    language=any_language,
    asked=st.sampled_from([Asked.HOURS, Asked.NIGHTS, Asked.COMING]),
)
def test_a_word_nobody_knows_beside_an_answer_always_reaches_a_person_or_is_asked_again(
    hours: int, stranger: str, language: str, asked: Asked
) -> None:
    for text in (f"{hours} hours {stranger}", f"{stranger} {hours}", f"yes {stranger}"):
        assert understand(text, language=language, asked=asked).next is not Next.KEEP


# --- trouble is never read as fine --------------------------------------------------------------------------

AROUND_TROUBLE = {
    "en": ("{}", "20 {}", "20 hours but {}", "yes {}", "{} 20", "we are coming {}", "no pain. {}"),
    "sw": ("{}", "masaa 20 {}", "20 lakini {}", "ndiyo {}", "hapana {}", "{} masaa 20", "tutakuja {}"),
    "ar": ("{}", "20 ساعة {}", "20 ولكن {}", "نعم {}", "لا، {}", "{} 20", "كلها {}"),
    "hi": ("{}", "20 ghante {}", "20 lekin {}", "haan {}", "{} hai 20", "nahi {}", "sabhi {}"),
    "es": ("{}", "20 horas {}", "20 pero {}", "sí {}", "no, {}", "{} 20", "vamos {}", "sin dolor. {}"),
    "fr": ("{}", "20 heures {}", "20 mais {}", "oui {}", "non {}", "{} 20", "on vient, {}", "pas de douleur. {}"),
    "pt": ("{}", "20 horas {}", "20 mas {}", "sim {}", "não, {}", "{} 20", "vamos {}", "sem dor. {}"),
    "bn": ("{}", "20 ghonta {}", "২০ কিন্তু {}", "হ্যাঁ {}", "{} 20", "না {}", "betha nai. {}"),
}


def trouble_words(language: str) -> Iterator[str]:
    phrases = lexicons.lexicon_of(language).phrases
    for key, entry in phrases.items():
        if any(sense.startswith("trouble.") and sense != "trouble.weak" for sense in entry.senses):
            yield " ".join(key)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_word_of_trouble_is_ever_read_as_anything_else(language: str) -> None:
    for word in trouble_words(language):
        for around in AROUND_TROUBLE[language]:
            for asked in Asked:
                reading = understand(around.format(word), language=language, asked=asked)
                assert (reading.meaning, reading.next) == (Meaning.TROUBLE, Next.TO_STAFF), (around, word)


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "en") for text in ("no redness", "not red", "no pain or redness", "doesn't cry", "no more pain")),
        *((text, "sw") for text in ("hakuna uvimbe", "sio nyekundu", "bila maumivu")),
        *((text, "ar") for text in ("لا احمرار", "ليس أحمر", "بدون تورم", "لا تبكي")),
        *((text, "hi") for text in ("dard nahi hai", "लाल नहीं है", "koi sujan nahi")),
        *((text, "es") for text in ("sin dolor ni rojez", "no está rojo", "ya no llora", "no hay heridas")),
        *((text, "fr") for text in ("pas d'ampoule ni rougeur", "pas rouge", "il ne pleure pas", "n'a plus mal")),
        *((text, "pt") for text in ("sem dor", "não está vermelho", "nem dor nem inchaço", "não chora")),
        *((text, "bn") for text in ("ব্যথা নাই", "লাল হয়নি", "kono fola nai", "betha kore na", "kade na")),
    ],
)
def test_a_denied_trouble_is_no_trouble(text: str, language: str) -> None:
    assert read(text, "hours", language).meaning is Meaning.UNREAD
    assert read(f"{text}, 22 hours", "hours", language).value == (22, 22)


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "en") for text in ("no, redness", "no hurts", "not red only", "no pain relief", "no can't sleep")),
        *((text, "en") for text in ("not wearing because red", "not sure but red", "no red", "isn't it red?")),
        *((text, "sw") for text in ("hapana maumivu", "sio maumivu tu", "miguu baridi hakuna maumivu")),
        *((text, "ar") for text in ("لا أحمر", "ما زال أحمر", "الألم لا يزول", "لا، تورم")),
        *((text, "hi") for text in ("laal nahi gaya", "ghav nahi bhar raha", "dekho na laal hai", "jyada dard nahi")),
        *((text, "es") for text in ("no rojo", "no solo rojo", "no llora mucho", "no para de llorar", "no, le duele")),
        *((text, "fr") for text in ("non rouge", "pas que rouge", "plus de douleur", "pleure pas mal")),
        *((text, "pt") for text in ("não, dói", "não só vermelho", "a dor não passa", "sem remédio pra dor")),
        *((text, "bn") for text in ("না ব্যথা", "ব্যথা কমে না", "শুধু লাল না", "রক্ত বন্ধ হয় না", "ghumay na")),
    ],
)
def test_a_no_that_does_not_deny_the_trouble_leaves_it_standing(text: str, language: str) -> None:
    assert read(text, "hours", language).meaning is Meaning.TROUBLE


@pytest.mark.parametrize("text", ["red for 2 days", "one blister", "2 hours red", "took it off 2 hours, red"])
def test_a_number_that_may_belong_to_the_trouble_is_not_carried_as_hours(text: str) -> None:
    assert read(text).value is None


# --- stop, start, help --------------------------------------------------------------------------------------

# The provider's default words, and "any reasonable wording": 47 CFR 64.1200(a)(10). [READ]
STOP_WORDS = ("STOP", "UNSUBSCRIBE", "END", "QUIT", "STOPALL", "REVOKE", "OPTOUT", "CANCEL")


@pytest.mark.parametrize("word", STOP_WORDS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_every_opt_out_word_alone_stops_when_nothing_was_asked(word: str, language: str) -> None:
    for text in (word, word.lower(), f"{word}.", f"{word} please"):
        assert read(text, "nothing", language).meaning is Meaning.STOP


@pytest.mark.parametrize("asked", list(Asked))
def test_stop_alone_stops_whatever_was_asked(asked: Asked) -> None:
    assert (read("stop", asked).meaning, read("stop", asked).next) == (Meaning.STOP, Next.KEEP)


@pytest.mark.parametrize("text", ["we stopped the brace", "don't stop", "can she stop now", "20 stop", "stop it hurts"])
def test_a_stop_among_other_words_is_no_opt_out(text: str) -> None:
    assert read(text).meaning is not Meaning.STOP
    assert read(text).next is Next.TO_STAFF


@pytest.mark.parametrize(("text", "language"), [("para", "es"), ("para por favor", "es"), ("fin", "fr")])
def test_a_stop_word_that_is_a_common_word_too_stops_when_it_stands_alone(text: str, language: str) -> None:
    assert read(text, "hours", language).meaning is Meaning.STOP


@pytest.mark.parametrize(("text", "language"), [("20 horas para la bebé", "es"), ("enfin 20 heures, à la fin", "fr")])
def test_a_stop_word_that_is_a_common_word_too_is_passed_over_among_others(text: str, language: str) -> None:
    assert read(text, "hours", language).value == (20, 20)


@pytest.mark.parametrize(("word", "meaning"), [("start", Meaning.START), ("unstop", Meaning.START)])
def test_start_words_start(word: str, meaning: Meaning) -> None:
    assert read(word, "nothing").meaning is meaning


def test_yes_is_coming_only_when_coming_was_asked() -> None:
    assert read("YES", "coming").meaning is Meaning.COMING
    assert (read("YES", "nothing").meaning, read("YES", "nothing").next) == (Meaning.UNREAD, Next.TO_STAFF)


@pytest.mark.parametrize("word", ["help", "info"])
def test_help_words_help(word: str) -> None:
    assert read(word, "nothing").meaning is Meaning.HELP


# --- numbers in words [MEMORY] ------------------------------------------------------------------------------

FIRST_NUMBERS = {
    "en": "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen twenty",
    "sw": "sifuri moja mbili tatu nne tano sita saba nane tisa kumi",
    "ar": "صفر واحد اثنان ثلاثة أربعة خمسة ستة سبعة ثمانية تسعة عشرة",
    "hi": "शून्य एक दो तीन चार पांच छह सात आठ नौ दस ग्यारह बारह तेरह चौदह पंद्रह सोलह सत्रह अठारह उन्नीस बीस "
    "इक्कीस बाईस तेईस चौबीस",
    # CLDR common/rbnf/es.xml (spellout-numbering) and fr.xml (spellout-cardinal-masculine): READ
    "es": "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciséis "
    "diecisiete dieciocho diecinueve veinte veintiuno veintidós veintitrés veinticuatro",
    "fr": "zéro un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize dix-sept "
    "dix-huit dix-neuf vingt vingt-et-un vingt-deux vingt-trois vingt-quatre",
    "pt": "zero um dois três quatro cinco seis sete oito nove dez onze doze treze catorze quinze dezesseis dezessete "
    "dezoito dezenove vinte",  # num2words, lang_PT_BR: READ
    "bn": "শূন্য এক দুই তিন চার পাঁচ ছয় সাত আট নয় দশ এগারো বারো তেরো চৌদ্দ পনের ষোল সতের আঠারো উনিশ বিশ একুশ বাইশ তেইশ "
    "চব্বিশ",  # num2words, lang_BN: READ
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_first_number_words_count_up_from_nothing(language: str) -> None:
    for value, word in enumerate(FIRST_NUMBERS[language].split()):
        assert read(word, "hours", language).value == (value, value), word


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_hour_of_the_day_has_a_word(language: str) -> None:
    own = tomllib.loads(
        (Path(lexicons.__file__).parents[1] / "lexicons" / f"{language}.toml").read_text(encoding="utf-8")
    )
    assert {str(hour) for hour in range(25)} <= {k for k, words in own["numbers"]["alone"].items() if words}


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "es") for text in ("una", "una hora", "veintiuna", "veintiún")),
        *((text, "fr") for text in ("une", "une heure", "vingt-et-une", "vingt et un")),
    ],
)
def test_one_has_its_feminine_and_short_forms(text: str, language: str) -> None:
    """Unicode CLDR, common/rbnf/es.xml and fr.xml, the feminine and masculine rule sets: READ."""
    one = 21 if text.startswith("v") else 1
    assert read(text, "hours", language).value == (one, one)


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "es") for text in ("veinticinco", "veintiséis", "veintisiete", "veintiocho", "veintinueve")),
        *((text, "fr") for text in ("vingt-cinq", "vingt-six", "vingt-sept", "vingt-huit", "vingt-neuf", "trente")),
    ],
)
def test_the_number_words_past_a_day_are_asked_for_again(text: str, language: str) -> None:
    """Unicode CLDR, common/rbnf/es.xml and fr.xml: READ."""
    for reply in (text, text.replace("-", " ")):
        assert (read(reply, "hours", language).value, read(reply, "hours", language).next) == (None, Next.ASK_AGAIN)


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "es") for text in ("una bota", "un bebé muy bueno", "no le duele nada", "nada, todo bien")),
        *((text, "fr") for text in ("une chaussure", "c'est un bon bébé", "il ne pleure jamais", "rien de grave")),
        *((text, "pt") for text in ("uma bota", "um bebê lindo", "não dói nada", "nada de novo", "não chora nunca")),
        *((text, "bn") for text in ("ekta juta", "এক জোড়া জুতা", "কিছু না", "kichui hoy nai")),
    ],
)
def test_an_article_or_a_nothing_beside_other_words_is_no_count(text: str, language: str) -> None:
    assert read(text, "hours", language).meaning not in (Meaning.HOURS, Meaning.NIGHTS)
    assert read(text, "nights", language).meaning not in (Meaning.HOURS, Meaning.NIGHTS)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        *((16, "dezasseis"), (17, "dezassete"), (19, "dezanove")),
        *((21, "vinte e um"), (22, "vinte e dois"), (23, "vinte e três"), (24, "vinte e quatro")),
    ],
)
def test_portuguese_numbers_are_read_as_africa_and_brazil_write_them(value: int, word: str) -> None:
    """num2words, lang_PT and lang_PT_BR: READ."""
    assert read(word, "hours", "pt").value == (value, value)
    assert read(word, "hours", "pt").next is Next.KEEP


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((f"vinte e {one}", "pt") for one in ("cinco", "seis", "sete", "oito", "nove")),
        ("trinta", "pt"),
        *((text, "bn") for text in ("পঁচিশ", "ছাব্বিশ", "সাতাশ", "আটাশ", "উনত্রিশ", "ত্রিশ")),
    ],
)
def test_number_words_past_a_day_are_asked_for_again_in_portuguese_and_bengali(text: str, language: str) -> None:
    """num2words, lang_PT_BR and lang_BN: READ."""
    assert (read(text, "hours", language).value, read(text, "hours", language).next) == (None, Next.ASK_AGAIN)


@pytest.mark.parametrize("text", ["twenty thousand", "twenty five", "five hundred", "thirty two", "four teen"])
def test_part_of_a_number_is_never_kept_as_the_number(text: str) -> None:
    assert read(text).next is not Next.KEEP


# --- times of the day ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "language"),
    [
        *((text, "es") for text in ("a las 8", "8 de la noche", "desde las 20", "22h30", "8h00", "mañana 14 hs")),
        *((text, "fr") for text in ("à 20h", "de 8h à 14h", "8h à 14h", "22h30", "8h00", "20h du soir", "demain 14h")),
    ],
)
@pytest.mark.parametrize("asked", list(Asked))
def test_a_time_of_the_day_is_no_count(text: str, language: str, asked: Asked) -> None:
    assert read(text, asked, language).next is not Next.KEEP


@pytest.mark.parametrize(
    ("text", "language"),
    [("all night and 4 hours", "en"), ("toda la noche y 4 horas de día", "es"), ("toute la nuit et 4h", "fr")],
)
def test_hours_on_top_of_a_whole_night_are_not_the_hours_of_the_day(text: str, language: str) -> None:
    assert read(text, "hours", language).next is Next.ASK_AGAIN
    assert read("all day, 23 hours").value == (23, 23)


@pytest.mark.parametrize(("text", "language"), [("14 hs", "es"), ("14h", "fr"), ("saa 11", "sw")])
def test_an_hour_that_the_clock_also_counts_is_hours_only_when_hours_were_asked(text: str, language: str) -> None:
    assert read(text, "hours", language).meaning is Meaning.HOURS
    assert read(text, "coming", language).next is Next.TO_STAFF
    assert read(text, "nothing", language).next is Next.TO_STAFF


@pytest.mark.parametrize(
    ("text", "language"), [("did not wear it yesterday", "en"), ("no se los puso ayer", "es"), ("pas mis hier", "fr")]
)
def test_one_night_without_is_not_a_week_without(text: str, language: str) -> None:
    assert read(text, "nights", language).next is Next.ASK_AGAIN
    assert read(text, "hours", language).value == (0, 0)


# --- spelling -----------------------------------------------------------------------------------------------


def test_a_mended_word_is_read_with_less_confidence() -> None:
    assert read("23 huors").value == (23, 23)
    assert read("23 huors").confidence < read("23 hours").confidence


@pytest.mark.parametrize("text", ["threw", "there", "might", "newer", "horse", "fever"])
def test_another_word_is_not_mended_into_a_count(text: str) -> None:
    assert read(text).meaning is not Meaning.HOURS


@pytest.mark.parametrize("text", ["2moro", "b4", "gr8", "4u", "2night", "2day", "20's", "x20y"])
def test_a_digit_inside_a_word_is_no_count(text: str) -> None:
    assert read(text, "nights").next is not Next.KEEP


# --- the lexicon files --------------------------------------------------------------------------------------


def raw(language: str = "sw") -> dict[str, Any]:
    path = Path(lexicons.__file__).parents[1] / "lexicons" / f"{language}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def faults_of(own: dict[str, Any]) -> str:
    with pytest.raises(LexiconError) as caught:
        lexicons.build(own, raw("en"))
    return str(caught.value)


def test_a_lexicon_without_a_table_is_refused() -> None:
    own = raw()
    del own["wishes"]
    assert "'wishes' is missing" in faults_of(own)


def test_a_lexicon_with_an_unknown_key_is_refused() -> None:
    own = raw()
    own["talk"]["chat"] = ["la"]
    assert "talk.chat is not known" in faults_of(own)


def test_a_lexicon_without_words_for_stop_is_refused() -> None:
    own = raw()
    own["wishes"]["stop"] = []
    assert "wishes.stop is empty" in faults_of(own)


def test_a_word_in_two_senses_is_refused() -> None:
    own = raw()
    own["answers"]["no"].append("ndiyo")
    assert "'ndiyo' is listed under answers.no and answers.yes" in faults_of(own)


def test_a_word_of_two_values_is_refused() -> None:
    own = raw()
    own["numbers"]["alone"]["5"].append("sita")
    assert "'sita' is listed under numbers.alone" in faults_of(own)


def test_an_english_word_of_trouble_keeps_its_sense_in_every_language() -> None:
    own = raw()
    own["talk"]["plain"].append("sore")
    assert "'sore' is English trouble.skin and may get no other sense here" in faults_of(own)


@pytest.mark.parametrize(
    ("key", "wrong", "fault"),
    [
        ("unit_side", "left", "unit_side is 'left'"),
        ("clock_hours", 10, "clock_hours is 10: write 12 or 24"),
        ("spellings", [["one"]], "spellings must be"),
        ("fold", {"a": 1}, "fold.a must be a string"),
        ("numbers", {"alone": {"many": ["x"]}, "by_unit": {}}, "'many' is not a number"),
        ("feet", {"feet": "mguu"}, "feet.feet must be a list"),
        ("talk", [], r"[talk] must be a table"),
    ],
)
def test_a_lexicon_of_the_wrong_shape_is_refused(key: str, wrong: object, fault: str) -> None:
    assert fault in faults_of(raw() | {key: wrong})
