"""The standing cautions: whole sentences, one place each, and not to be changed by a caller."""

import pytest

from ownship.words.cautions import CAUTIONS, cautions_for

PLACES = {"verdict", "runway", "card", "fuel", "tanks", "cockpit", "load", "ifr", "heading", "model", "measuring",
          "modifications", "maintenance", "rules", "insurer", "range"}


def test_every_place_has_its_caution():
    assert set(CAUTIONS) == PLACES


def test_cautions_are_whole_sentences_each_in_one_place():
    every = [s for sentences in CAUTIONS.values() for s in sentences]
    assert len(set(every)) == len(every)
    assert all(s[0].isupper() and s.endswith(".") for s in every)


def test_the_first_caution_of_a_verdict_leaves_the_decision_to_the_pilot():
    assert "pilot in command decides" in cautions_for(["verdict"])[0]


def test_topics_come_in_order_and_once():
    assert cautions_for(["fuel", "verdict", "fuel"]) == (*CAUTIONS["fuel"], *CAUTIONS["verdict"])


def test_a_caller_cannot_take_a_caution_away():
    with pytest.raises(TypeError):
        CAUTIONS["verdict"] = ()


def test_an_unknown_topic_is_an_error_never_silence():
    with pytest.raises(KeyError):
        cautions_for(["runways"])
