"""The texts of the sheets for the person: whole, translatable, and in other scripts."""

from __future__ import annotations

import ast
import re
import tomllib
from datetime import date
from pathlib import Path

import pytest
from tests.support.translations import translated

import thalweg.sheets.handout as handout_package
from thalweg.errors import InputError
from thalweg.evidence.outcome import outcomes
from thalweg.plan.catalogue import catalogue
from thalweg.sheets.messages import wording
from thalweg.sheets.messages.catalogue import blocks, english, glossary, placeholders
from thalweg.sheets.messages.pseudo import ACCENTED, MIRRORED, PSEUDO

HANDOUT = Path(handout_package.__file__).parent
PARTS = tomllib.loads(HANDOUT.joinpath("parts.toml").read_text(encoding="utf-8"))
LATIN = re.compile(r"[A-Za-z]")


def keys_in_code() -> set[str]:
    """Return every key that the code of the sheets asks for by a literal."""
    found: set[str] = set()
    for path in HANDOUT.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and node.args
                and isinstance(node.func, ast.Name | ast.Attribute)
            ):
                name = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
                first = node.args[0]
                if name in {"words", "items", "many", "raw"} and isinstance(first, ast.Constant):
                    found.add(str(first.value))
    return found


def test_every_text_that_the_code_asks_for_is_there() -> None:
    asked = keys_in_code()
    assert len(asked) > 60
    there = english()
    assert {key for key in asked if key not in there and f"{key}.1" not in there} == set()


def test_every_diversion_criterion_and_outcome_has_plain_words() -> None:
    there = english()
    for diversion in catalogue().diversions:
        name = f"label.diversion.{diversion.key}"
        for part in ("name", "short", "out", "bag", "tube", "bowel"):
            assert f"{name}.{part}" in there
        for part in ("what", "operation"):
            assert f"diversion.{diversion.key}.{part}" in there
        own = PARTS[diversion.key]
        assert own["daily"]
        assert own["checks"]
        assert own["alarm"]
        for criterion in diversion.criteria:
            assert f"criterion.{criterion.key}" in there, criterion.key
    for key in outcomes():
        assert f"label.outcome.{key}" in there


def test_parts_name_texts_and_outcomes_that_are_there() -> None:
    there = english()
    for key, part in PARTS.items():
        assert f"diagram.title.{key}" in there
        assert f"blood.{part['blood']}" in there
        for kind in ("daily", "checks", "alarm"):
            assert [one for one in part[kind] if f"{kind}.{one}" not in there] == []
        assert set(part["cannot"]) <= set(outcomes())


def test_what_a_diversion_cannot_bring_follows_from_its_build() -> None:
    # No stoma, no bulge beside it; no bag of bowel, no catheter for it (anatomy).
    for key, part in PARTS.items():
        stoma = key not in {
            "neobladder",
            "ureterosigmoidostomy",
            "suprapubic-cystostomy",
            "nephrostomy",
        }
        assert ("parastomal-hernia" not in part["cannot"]) == stoma, key
        assert ("catheterising" not in part["cannot"]) == (key == "neobladder"), key


def test_nothing_is_praised_and_unknown_is_not_none() -> None:
    said = " ".join(text for one in english().values() for text in (one.one, one.other)).casefold()
    assert not re.search(r"\b(best|better than|recommend\w*|we advise|should choose)\b", said)
    assert "“not known” does not mean “none”" in english()["notice.unknown"].one.casefold()


def test_each_word_explained_has_its_meaning() -> None:
    assert len(glossary()) >= 10
    for key in glossary():
        assert english()[f"glossary.means.{key}"].one


def test_counts_take_the_form_of_their_number() -> None:
    words = wording()
    assert words.many("unknown.helps", 1, what="x") == "x. This would help with 1 of the ways."
    one = words.many("numbers.groups", 1, people="36 people", years="2018")
    several = words.many("numbers.groups", 5, people="1,570 people", years="2003–2019")
    assert one == "36 people from one group (2018)."
    assert several == "1,570 people from 5 groups (2003–2019)."


@pytest.mark.parametrize(
    ("language", "counts", "forms"),
    [
        # GNU gettext manual, "Plural forms": three for Polish, four for Slovenian.
        ("pl", (1, 2, 5, 22, 25), (0, 1, 2, 1, 2)),
        ("sl", (1, 2, 3, 4, 5, 101), (0, 1, 2, 2, 3, 0)),
    ],
)
def test_plural_forms_are_those_of_the_language(
    language: str, counts: tuple[int, ...], forms: tuple[int, ...]
) -> None:
    words = wording(language, {language: translated(language, "_")})
    said = [words.many("unknown.helps", count, what="x") for count in counts]
    assert [int(one[1]) for one in said] == list(forms)


def test_numbers_and_days_are_written_as_the_language_does() -> None:
    # CLDR: German groups with points and has a decimal comma.
    german = wording("de", {"de": translated("de", "_")})
    assert german.number(1570) == "1.570"
    assert german.number(49.25) == "49,2"
    assert german.day(date(2026, 3, 5)) == "5 März 2026"
    assert wording().day(date(2026, 3, 5)) == "5 March 2026"


def test_a_text_whose_english_changed_is_not_translated_by_the_old_one() -> None:
    old = translated("fi", "_").replace(b"It is not advice.", b"It is advice.")
    words = wording("fi", {"fi": old})
    assert words.untranslated == {"glance.status"}
    assert words("glance.status") == english()["glance.status"].one


def test_a_fuzzy_or_missing_text_stays_english() -> None:
    content = translated("fi", "_", leave=("sign.lead",), fuzzy="sheet.lead")
    words = wording("fi", {"fi": content})
    assert words.untranslated == {"sign.lead", "sheet.lead"}
    assert words("sign.not-consent").startswith("_")


@pytest.mark.parametrize(
    ("language", "content", "says"),
    [
        ("xx-nowhere", b"", "'xx-nowhere' is not a language that CLDR knows"),
        ("fi", b'mzgid "a"\nmsgstr "b"\n', "cannot be read as a PO file"),
        ("fi", b"", "it translates none of the texts"),
        ("fi", translated("fi", "_").replace(b"_0{what}", b"_0{waht}"), "does not have {"),
        ("fi", translated("fi", "_").replace(b"_Case {case}", b"_Case {"), "does not have {case}"),
    ],
)
def test_a_translation_that_cannot_be_used_is_refused(
    language: str, content: bytes, says: str
) -> None:
    with pytest.raises(InputError, match=re.escape(says)):
        wording(language, {language: content})


def test_a_language_without_translation_is_refused_with_those_there_are() -> None:
    with pytest.raises(InputError, match=r"not translated into 'fr'; choose en, en-XA, ar-XB, fi"):
        wording("fr", {"fi": b""})


@pytest.mark.parametrize("language", PSEUDO)
def test_a_pseudo_language_changes_every_text_and_keeps_its_holes(language: str) -> None:
    words = wording(language)
    for key, one in english().items():
        for text, said in zip((one.one, one.other), words.texts[key], strict=False):
            # Names alone, with nothing of ours between them, stay as they are.
            assert said != text or not LATIN.search(re.sub(r"\{[^{}]*\}", "", text)), key
            assert placeholders(said) == placeholders(text), key


def test_the_accented_language_is_a_third_longer() -> None:
    words = wording(ACCENTED)
    plain = sum(len(one.one) for one in english().values())
    grown = sum(len(words.texts[key][0]) for key in english())
    assert 1.3 < grown / plain < 1.6


def test_the_mirrored_language_has_no_latin_letter_outside_its_holes() -> None:
    words = wording(MIRRORED)
    assert words.right_to_left
    for key, forms in words.texts.items():
        bare = re.sub(r"\{[^{}]*\}", "", forms[0])
        assert not LATIN.search(bare), key


def test_what_is_filled_in_is_isolated_where_the_script_runs_the_other_way() -> None:
    # UAX 9: first strong isolate U+2068, pop directional isolate U+2069.
    assert "\u2068a1b2-c3\u2069" in wording(MIRRORED)("label.part.case", case="a1b2-c3")
    assert wording(MIRRORED).own("Ben Sample") == "\u2068Ben Sample\u2069"
    assert wording().own("Ben Sample") == "Ben Sample"


def test_blocks_keep_the_items_of_a_list_together() -> None:
    assert len(blocks()["questions.items"]) >= 8
    assert "label.open" not in blocks()
