"""In a notebook an evaluation and its sections show themselves."""

import re

import html5lib
import pytest

import orient
from orient.show.document import ranking_document
from tests.evaluated import sample
from tests.show.pages import plain_evaluation


def shown(section):
    """The HTML that a cell would show; a mistake in the markup is an error."""
    html = section._repr_html_()
    html5lib.HTMLParser(strict=True).parseFragment(html)
    return html


def test_an_evaluation_shows_the_answer_its_pictures_and_its_poses():
    found = sample("mast_bracket")
    html = shown(found)
    assert "Build it along −y" in html
    assert len(re.findall(r'<img alt="[^"]*mm²', html)) == 2
    for row in found.ranking.shown:
        assert f"{ranking_document(found)['candidates'][row]['penalty']['total']:.3f}" in html


@pytest.mark.parametrize("name", ["ranking", "features", "strength", "shop"])
def test_each_section_shows_itself(name):
    html = shown(getattr(sample("mast_bracket"), name))
    assert "<table>" in html
    if name == "features":
        assert "<img" in html
    if name == "strength":
        assert "load-test" in html


def test_what_orient_rank_gives_shows_itself(tmp_path):
    ranking = orient.rank(sample("mast_bracket").part, directions=20)
    assert "score" in shown(ranking)


def test_nothing_hard_is_said_in_a_line():
    assert shown(plain_evaluation().features) == "<p>No hard features.</p>"
