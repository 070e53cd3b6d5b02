"""The texts of every kind in every shipped language, and the catalogues they come from."""

import gettext
import re
import shutil
import unicodedata
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from hypothesis import given
from hypothesis import strategies as st

from bracewatch.messages.kinds import Asked, Kind, Meaning
from bracewatch.messages.languages import LANGUAGES, LOCALE_FOLDER, Language, describe, shipped, shipped_language
from bracewatch.messages.replies import understand
from bracewatch.messages.segments import measure
from bracewatch.messages.wording import (
    CLINIC_NAME_ROOM,
    PHONE_ROOM,
    REPLY_WORDS,
    asks,
    entries,
    load,
    needed_facts,
    reply_words,
    word,
)

MONDAY = date(2026, 12, 7)
FACTS = {"clinic": "Lakeside", "phone": "+254712345678", "day": MONDAY}
EVERY_TEXT = [(kind, code) for kind in Kind for code in LANGUAGES]
every_text = pytest.mark.parametrize(("kind", "code"), EVERY_TEXT)
every_language = pytest.mark.parametrize("code", LANGUAGES)

# What a stranger who picks up the phone must not learn, written as it would be found in a text.
TELLING = {
    "en": "brace bracing clubfoot talipes splint orthosis orthotic plaster tenotomy relapse recurrence "
    "deformity treatment therapy surgery operation disease disability patient",
    "sw": "kifundo ulemavu ugonjwa matibabu tiba upasuaji plasta mgonjwa",
    "ar": "حنف دعامة جبيرة جبس علاج مرض تشوه جراحة انتكاس إعاقة مريض تقويم",
    "hi": "क्लबफुट मुद्गर टेढ़ इलाज उपचार प्लास्टर बीमारी विकलांग ऑपरेशन ब्रेस स्प्लिंट मरीज",
    "es": "zambo equinovaro férula ortesis órtesis yeso tratamiento terapia operación cirugía enfermedad discapacidad "
    "deform recaída paciente aparato",
    "fr": "pied-bot varus équin attelle orthèse plâtre traitement thérapie opération chirurg maladie handicap "
    "déform rechute appareil",
    "pt": "torto órtese gesso tratamento terapia cirurgia operação doença deficiên paciente recaída recidiva deform",
    "bn": "ক্লাবফুট মুগুর বাঁকা চিকিৎসা প্লাস্টার রোগ অসুখ প্রতিবন্ধী অপারেশন ব্রেস স্প্লিন্ট",
}
BLAMING = {
    "en": "fault failed forgot careless must danger warning",
    "sw": "kosa umekosa ulisahau lazima hatari onyo",
    "ar": "خطأ نسيتم إهمال يجب خطر تحذير",
    "hi": "गलती भूल लापरवाह ज़रूरी जरूरी खतरा चेतावनी",
    "es": "culpa falló fallado olvidó olvidado descuid debe obligatori peligro riesgo advertencia",
    "fr": "faute oublié négligen devez obligatoire danger risque avertissement attention",
    "pt": "culpa falhou esqueceu descuido obrigatóri perigo risco atenção",
    "bn": "দোষ ভুল অবহেলা বাধ্য বিপদ সতর্ক ঝুঁকি",
}
BOOTS = {"en": "boots", "sw": "viatu", "ar": "الحذاء", "hi": "जूते", "pt": "botas", "bn": "জুতা"}
BOOTS |= {"es": "botas", "fr": "chaussures"}


# Reply words that another language writes like English.
SAME_AS_ENGLISH = {"es": {"NO"}, "fr": {"STOP"}}


def facts_for(kind: Kind, **others: str | date) -> dict[str, str | date]:
    return {name: value for name, value in (FACTS | others).items() if name in needed_facts(kind)}


def text_of(kind: Kind, code: str, **others: str | date) -> str:
    return word(kind, language=code, **facts_for(kind, **others))


def catalogue_of(code: str) -> Catalog:
    with (LOCALE_FOLDER / code / "LC_MESSAGES" / "messages.po").open("rb") as file:
        return read_po(file, locale=code, abort_invalid=True)


def days_of_a_year(kind: Kind) -> list[date]:
    """Every day a text of this kind could name; accents in a day ("sábado", "août") may cost more than length."""
    return [MONDAY + timedelta(days=number) for number in range(365 if "day" in needed_facts(kind) else 1)]


# --- the texts


@every_text
def test_every_text_says_who_writes_and_leaves_no_gap(kind: Kind, code: str) -> None:
    text = text_of(kind, code)
    assert "Lakeside" in text[:30]
    assert "%" not in text
    assert text == text.strip()


@every_text
def test_every_text_fits_two_parts_with_the_longest_facts_there_is_room_for(kind: Kind, code: str) -> None:
    facts = {"clinic": "L" * CLINIC_NAME_ROOM, "phone": "+" + "2" * (PHONE_ROOM - 1)}
    for day in days_of_a_year(kind):
        text = text_of(kind, code, **facts, day=day)
        assert measure(text).parts <= 2, text  # our own limit for a text in its own language
        assert len(text) <= 1600  # the provider's limit, its error 21617


@pytest.mark.parametrize("kind", [Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS])
@every_language
def test_the_questions_sent_week_after_week_cost_one_part(kind: Kind, code: str) -> None:
    assert measure(text_of(kind, code, clinic="L" * CLINIC_NAME_ROOM)).parts == 1


@pytest.mark.parametrize("kind", Kind)
def test_english_texts_are_gsm_7(kind: Kind) -> None:
    assert measure(text_of(kind, "en")).encoding == "GSM-7"


@every_text
def test_no_text_tells_a_stranger_of_the_condition_or_the_treatment(kind: Kind, code: str) -> None:
    text = text_of(kind, code).casefold()
    assert [telling for words in TELLING.values() for telling in words.split() if telling in text] == []


@every_text
def test_no_text_blames_or_frightens(kind: Kind, code: str) -> None:
    text = text_of(kind, code).casefold()
    assert [hard for words in BLAMING.values() for hard in words.split() if hard in text] == []


@every_language
def test_the_questions_and_the_cautions_speak_of_the_boots(code: str) -> None:
    kinds = [Kind.WELCOME, Kind.CHECK_IN_HOURS, Kind.CHECK_IN_NIGHTS, Kind.VISIT_REMINDER, Kind.TROUBLE_HEARD]
    assert all(BOOTS[code] in text_of(kind, code) for kind in kinds)


@every_language
def test_a_family_told_to_call_today_is_given_the_number(code: str) -> None:
    for kind in (Kind.WELCOME, Kind.TROUBLE_HEARD, Kind.HELP, Kind.STOPPED):
        assert FACTS["phone"] in text_of(kind, code)


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("en", "Lakeside: Thank you. See you on Monday 7 December. Please bring the boots."),
        ("sw", "Lakeside: Asante. Tutaonana Jumatatu tarehe 7 Desemba. Tafadhali lete viatu."),
        ("ar", "من Lakeside: شكراً. نراكم يوم الاثنين 7 ديسمبر. نرجو إحضار الحذاء."),
        ("hi", "Lakeside: धन्यवाद। सोमवार 7 दिसंबर को मिलते हैं। कृपया जूते साथ लाएं।"),
        ("es", "Lakeside: Gracias. Nos vemos el lunes 7 de diciembre. Por favor traiga las botas."),
        ("fr", "Lakeside : Merci. Rendez-vous le lundi 7 décembre. Merci d'apporter les chaussures."),
        ("pt", "Lakeside: Obrigado. Até segunda-feira, 7 de dezembro. Por favor, traga as botas."),
        ("bn", "Lakeside: ধন্যবাদ। সোমবার, 7 ডিসেম্বর দেখা হবে। জুতা সাথে আনবেন।"),
    ],
)
def test_a_day_is_worded_in_the_language_of_its_text(code: str, text: str) -> None:
    assert text_of(Kind.COMING_HEARD, code) == text


def test_a_curly_quote_in_a_clinic_name_does_not_double_the_price() -> None:
    text = text_of(Kind.THANKS, "en", clinic="St. Mary’s")
    assert text.startswith("St. Mary's: ")
    assert measure(text).encoding == "GSM-7"


@every_text
def test_a_right_to_left_text_starts_right_to_left_and_shows_the_phone_in_order(kind: Kind, code: str) -> None:
    text = text_of(kind, code)
    strong = next(way for way in map(unicodedata.bidirectional, text) if way in {"L", "R", "AL"})
    marked = "\u200e+254712345678" in text
    if LANGUAGES[code].direction == "rtl":
        assert strong in {"R", "AL"}
        assert marked == ("phone" in needed_facts(kind))
    else:
        assert strong == "L"
        assert not marked


@given(kind=st.sampled_from(Kind), code=st.sampled_from(list(LANGUAGES)), day=st.dates())
def test_any_day_can_be_worded(kind: Kind, code: str, day: date) -> None:
    assert text_of(kind, code, day=day)


# --- facts and questions


def test_each_kind_needs_the_facts_its_text_shows() -> None:
    assert needed_facts(Kind.THANKS) == {"clinic"}
    assert needed_facts(Kind.WELCOME) == {"clinic", "phone"}
    assert needed_facts(Kind.COMING_HEARD) == {"clinic", "day"}
    assert needed_facts(Kind.VISIT_REMINDER) == {"clinic", "day", "phone"}


@every_text
def test_a_missing_fact_is_refused_by_name(kind: Kind, code: str) -> None:
    for name in needed_facts(kind):
        facts = facts_for(kind)
        del facts[name]
        with pytest.raises(ValueError, match=f"{kind.value} lacks the fact {name}"):
            word(kind, language=code, **facts)


@pytest.mark.parametrize("name", ["day", "child"])
def test_a_fact_the_kind_does_not_use_is_refused_by_name(name: str) -> None:
    with pytest.raises(ValueError, match=f"thanks does not use the fact {name}"):
        word(Kind.THANKS, language="en", clinic="Lakeside", **{name: "x"})


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("clinic", ""),
        ("clinic", "  "),
        ("clinic", "Lake\nside"),
        ("clinic", "Lake\u2028side"),
        ("clinic", "Lake \ud83d"),
        ("clinic", MONDAY),
        ("phone", ""),
        ("phone", "ask at the desk"),
        ("phone", "+254 712\n345 678"),
        ("phone", "7.12E+8"),
        ("phone", "٠٧١٢٣٤٥"),
        ("phone", "0712345678 or 0712345679"),
        ("day", "2026-12-07"),
        ("day", datetime(2026, 12, 7, 9, tzinfo=UTC)),
    ],
)
def test_a_fact_of_a_wrong_form_is_refused_by_name(name: str, value: str | date) -> None:
    with pytest.raises(ValueError, match=f"^{name} must be"):
        text_of(Kind.VISIT_REMINDER, "en", **{name: value})


@pytest.mark.parametrize("phone", ["+254712345678", "0712 345 678", "(020) 271-3344", "1190"])
def test_a_phone_is_shown_as_families_dial_it(phone: str) -> None:
    assert phone in text_of(Kind.HELP, "en", phone=phone)


def test_each_kind_asks_what_its_text_asks() -> None:
    asked = {kind: asks(kind) for kind in Kind if asks(kind) is not Asked.NOTHING}
    assert asked == {
        Kind.CHECK_IN_HOURS: Asked.HOURS,
        Kind.ASK_AGAIN_HOURS: Asked.HOURS,
        Kind.CHECK_IN_NIGHTS: Asked.NIGHTS,
        Kind.ASK_AGAIN_NIGHTS: Asked.NIGHTS,
        Kind.VISIT_REMINDER: Asked.COMING,
        Kind.MISSED_VISIT: Asked.COMING,
        Kind.ASK_AGAIN: Asked.COMING,
    }


@pytest.mark.parametrize("kind", Kind)
def test_a_text_asks_just_what_its_words_ask(kind: Kind) -> None:
    english = dict(entries())[kind.value]
    assert ("from 0 to 24" in english) == (asks(kind) is Asked.HOURS)
    assert ("from 0 to 7" in english) == (asks(kind) is Asked.NIGHTS)
    assert ("%(YES)s" in english) == (asks(kind) is Asked.COMING)


@every_language
def test_a_question_for_a_number_names_the_lowest_and_the_highest(code: str) -> None:
    for kind in Kind:
        if asks(kind) in {Asked.HOURS, Asked.NIGHTS}:
            highest = "24" if asks(kind) is Asked.HOURS else "7"
            numbers = re.findall(r"\d+", text_of(kind, code))
            assert numbers[-2:] == ["0", highest]


# --- languages


def test_the_shipped_languages_are_the_folders() -> None:
    assert list(LANGUAGES) == ["ar", "bn", "en", "es", "fr", "hi", "pt", "sw"]
    assert list(LANGUAGES) == sorted(path.name for path in LOCALE_FOLDER.iterdir())


def test_a_language_is_named_in_itself_and_knows_its_direction() -> None:
    assert LANGUAGES["ar"] == Language("ar", "العربية", "rtl")  # Unicode CLDR, MEMORY
    assert LANGUAGES["sw"] == Language("sw", "Kiswahili", "ltr")  # Unicode CLDR, MEMORY


@pytest.mark.parametrize("code", ["it", "", "EN", "en_GB"])
def test_a_language_not_shipped_is_refused_with_the_shipped_ones(code: str) -> None:
    for attempt in (
        lambda: text_of(Kind.THANKS, code),
        lambda: reply_words(code),
        lambda: shipped_language(code),
    ):
        with pytest.raises(ValueError, match=f"shipped are {', '.join(LANGUAGES)}"):
            attempt()


@pytest.mark.parametrize("code", ["qqq", "kiswahili sanifu", ""])
def test_a_folder_that_is_no_language_code_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match="not known to the Unicode locale data"):
        describe(code)


def test_a_new_folder_is_a_new_language(tmp_path: Path) -> None:
    shutil.copytree(LOCALE_FOLDER / "en", tmp_path / "it")
    assert shipped(tmp_path) == {"it": Language("it", "italiano", "ltr")}
    catalogue = load(describe("it"), tmp_path)
    assert catalogue.reply_words == reply_words("en")


# --- the catalogues


@every_language
def test_a_catalogue_holds_the_english_entries_and_no_other(code: str) -> None:
    catalog = catalogue_of(code)
    assert sorted((message.context, message.id) for message in catalog if message.id) == sorted(entries())
    assert not catalog.obsolete


@every_language
def test_no_entry_is_untranslated_or_fuzzy(code: str) -> None:
    messages = [message for message in catalogue_of(code) if message.id]
    assert all(message.string and not message.fuzzy for message in messages)
    if code != "en":
        same = {m.id for m in messages if m.string == m.id and m.context != "day"}
        assert same == SAME_AS_ENGLISH.get(code, set())


def test_the_english_catalogue_says_what_the_program_says() -> None:
    assert [message.id for message in catalogue_of("en") if message.id and message.string != message.id] == []


@every_language
def test_a_plural_would_follow_the_rules_of_cldr(code: str) -> None:
    """Unicode CLDR plural rules as Babel carries them: READ. Hindi counts 0 as one, unlike Babel's header."""
    catalog, rule = catalogue_of(code), Locale.parse(code).plural_form
    forms = [form for form in ("zero", "one", "two", "few", "many", "other") if form in {*rule.tags, "other"}]
    form_of = gettext.c2py(catalog.plural_expr)
    assert catalog.num_plurals == len(forms)
    assert [forms[form_of(number)] for number in range(300)] == [rule(number) for number in range(300)]


@every_language
def test_reply_words_are_single_words_and_all_differ(code: str) -> None:
    words = reply_words(code)
    assert set(words) == set(REPLY_WORDS)
    assert len({answer.casefold() for answer in words.values()}) == len(words)
    assert all(len(answer.split()) == 1 for answer in words.values())


@every_language
def test_every_reply_word_is_offered_in_some_text(code: str) -> None:
    texts = " ".join(text_of(kind, code) for kind in Kind)
    assert all(answer in texts for answer in reply_words(code).values())


@pytest.mark.parametrize(
    ("name", "asked", "meaning"),
    [
        *[("STOP", asked, Meaning.STOP) for asked in Asked],
        *[("CALL", asked, Meaning.CALL_ME) for asked in Asked],
        ("START", Asked.NOTHING, Meaning.START),
        ("YES", Asked.COMING, Meaning.COMING),
        ("NO", Asked.COMING, Meaning.NOT_COMING),
    ],
)
@every_language
def test_a_reply_word_sent_back_is_read_as_meant(code: str, name: str, asked: Asked, meaning: Meaning) -> None:
    answer = reply_words(code)[name]
    for reply in (answer, answer.lower(), answer.capitalize(), f" {answer}. ", f"'{answer}'"):
        assert understand(reply, language=code, asked=asked).meaning is meaning


def spoilt(tmp_path: Path, spoil: str) -> Path:
    """A folder with a copy of the Swahili catalogue in which one entry was spoilt."""
    catalog = catalogue_of("sw")
    by_context = {message.context: message for message in catalog if message.id}
    if spoil == "missing":
        catalog.delete(by_context["thanks"].id, context="thanks")
    elif spoil == "fuzzy":
        by_context["thanks"].flags.add("fuzzy")
    elif spoil == "untranslated":
        by_context["thanks"].string = ""
    else:
        context, text = spoil.split("=", 1)
        by_context[context].string = text
    path = tmp_path / "sw" / "LC_MESSAGES" / "messages.po"
    path.parent.mkdir(parents=True)
    with path.open("wb") as file:
        write_po(file, catalog)
    return tmp_path


@pytest.mark.parametrize(
    ("spoil", "complaint"),
    [
        ("missing", r"thanks \(.*\) is missing"),
        ("fuzzy", r"thanks \(.*\) is marked fuzzy"),
        ("untranslated", r"thanks \(.*\) is not translated"),
        ("thanks=Asante.", r"thanks \(.*\) needs exactly the placeholders clinic"),
        ("thanks=%(clinic)s: Asante %(child)s", "needs exactly the placeholders clinic"),
        ("thanks=%(clinic)s: Asante %", "needs exactly the placeholders clinic"),
        ("thanks=%(clinic)d: Asante", "needs exactly the placeholders clinic"),
        ("day=EEEE d MMMM y", r"day \(.*\) must word weekday, day and month, and no year"),
        ("day=EEEE 'd' MMMM", "must word weekday, day and month"),
    ],
)
def test_a_catalogue_that_is_not_whole_is_refused(tmp_path: Path, spoil: str, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        load(describe("sw"), spoilt(tmp_path, spoil))


def test_every_fault_of_a_catalogue_is_named_at_once(tmp_path: Path) -> None:
    folder = spoilt(tmp_path, "missing")
    path = folder / "sw" / "LC_MESSAGES" / "messages.po"
    path.write_text(path.read_text("utf-8").replace('msgctxt "help"', '#, fuzzy\nmsgctxt "help"'), "utf-8")
    with pytest.raises(ValueError, match=r"mend sw/.* thanks .* is missing; help .* is marked fuzzy"):
        load(describe("sw"), folder)


def test_a_file_that_is_no_catalogue_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "sw" / "LC_MESSAGES" / "messages.po"
    path.parent.mkdir(parents=True)
    path.write_text("Asante sana\n", "utf-8")
    with pytest.raises(ValueError, match=r"sw/LC_MESSAGES/messages.po cannot be read"):
        load(describe("sw"), tmp_path)
