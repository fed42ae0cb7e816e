from limbtier.governance.checks.wording.sentence_too_long import CHECK
from tests.governance.checks.conftest import Bench
from tests.governance.checks.editing import with_then


def words(number: int) -> str:
    return " ".join(["word"] * number) + "."


def test_a_sentence_of_one_word_too_many_is_found(bench: Bench) -> None:
    assert bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(words(31),))) == [
        ("rule", "thin-ankle")
    ]


def test_two_sentences_of_as_many_words_as_are_allowed_are_not(bench: Bench) -> None:
    both = f"{words(30)} Then {words(29)}"
    assert bench.new(CHECK, with_then(bench.core, "thin-ankle", caution=(both,))) == []
