"""Phrases: plain English to whoever reads them, put together anew in another language."""

from __future__ import annotations

import copy
import json
import pickle

import pytest

from converter.model.phrase import Measure, Phrase, sentences

TRIM = Phrase("Trim {what} to {number} square.", "Trim {what} to {number} squares.", what="{it}", number=3)
LENGTH = Measure("{imperial} ({metric})", imperial=Phrase("{value} in", value=2), metric=Phrase("{value} cm", value=5))


def test_a_phrase_is_the_plain_text() -> None:
    text = "Trim {it} to 3 squares."
    assert text == TRIM
    assert hash(TRIM) == hash(text)
    assert json.dumps([TRIM]) == json.dumps([text])
    assert f"{TRIM:>30}" == f"{text:>30}"
    assert repr(TRIM) == repr(text)
    assert TRIM.encode() == text.encode()


@pytest.mark.parametrize("number", [0, 1, 2, 21])
def test_one_form_for_one_and_another_for_all_others(number: int) -> None:
    said = Phrase("{number} skein", "{number} skeins", number=number)
    assert said == f"{number} skein{'' if number == 1 else 's'}"


@pytest.mark.parametrize("phrase", [TRIM, LENGTH, sentences(TRIM, LENGTH)], ids=repr)
def test_copies_keep_template_and_values(phrase: Phrase) -> None:
    for twin in (copy.copy(phrase), copy.deepcopy(phrase), pickle.loads(pickle.dumps(phrase))):
        assert twin == phrase
        assert type(twin) is type(phrase)
        assert (twin.template, twin.several, twin.values) == (phrase.template, phrase.several, phrase.values)


def test_sentences_stand_one_after_the_other() -> None:
    both = sentences("", Phrase("Pin."), "", Phrase("Sew {times}.", times="twice"), "")
    assert both == "Pin. Sew twice."
    assert list(both.values.values()) == ["Pin.", "Sew twice."]
    assert sentences() == ""
