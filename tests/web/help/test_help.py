"""Help is open to visitors, and every word of the trade is explained once."""

import re

import pytest
from fastapi.testclient import TestClient

from server.web.glossary import TERMS, term
from server.web.help.view import TOPICS


@pytest.mark.parametrize("address", ["/help", "/patterns", *(f"/help/{t.key}" for t in TOPICS)])
def test_a_visitor_can_read_it(client: TestClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.text.count("<h1>") == 1
    assert "style=" not in answer.text
    assert "<script>" not in answer.text


def test_a_page_of_help_that_does_not_exist_is_a_plain_404(client: TestClient) -> None:
    assert client.get("/help/..%2Fbase").status_code == 404
    assert client.get("/help/index").status_code == 404


def test_every_word_is_explained_in_one_sentence() -> None:
    for one in TERMS:
        assert one.sentence.endswith(".")
        assert not re.search(r"[.!?] [A-Z]", one.sentence), one.word
    assert len({one.anchor for one in TERMS}) == len(TERMS)
    assert [one.word.lower() for one in TERMS] == sorted(one.word.lower() for one in TERMS)


def test_a_word_in_a_text_opens_its_sentence_and_links_to_all_words(client: TestClient) -> None:
    page = client.get("/help").text
    words = term("PPFD", "light")
    place = re.search(r'popovertarget="([^"]+)"', words)
    assert place is not None
    assert f'id="{place.group(1)}" popover' in words
    assert '<div id="ppfd">' in page
    assert 'href="/help#ppfd"' in words


def test_the_same_word_twice_has_two_places() -> None:
    assert term("PAR") != term("PAR")


def test_a_word_nobody_explained_is_a_fault_at_once() -> None:
    with pytest.raises(KeyError):
        term("luminosity of dreams")


def test_what_is_shown_for_a_word_is_escaped() -> None:
    assert "<b>" not in term("PAR", "<b>")
