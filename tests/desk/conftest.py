"""A desk, and pages of it in a browser."""

import pytest

from tests.desk.desks import SHELL, running
from tests.desk.pages import BRACKET, bring, opened


@pytest.fixture(scope="module")
def plain():
    """A desk with a bare page, and uploads of no more than 3 MB."""
    with running(0, 3_000_000) as desk:
        yield desk


@pytest.fixture(scope="module")
def desk():
    with running(program=SHELL) as one:
        yield one


@pytest.fixture
def fresh(browser, desk):
    page = opened(browser, desk)
    yield page
    page.context.close()


@pytest.fixture(scope="module")
def kept(browser, desk):
    """A page with the bracket on it, its poses ranked; no test leaves it otherwise than it was."""
    page = opened(browser, desk, reduced_motion="reduce")
    bring(page, BRACKET)
    yield page
    page.context.close()


@pytest.fixture
def laid(kept):
    """The page that is kept, its list of poses in view whatever an earlier test looked at."""
    kept.get_by_role("tab", name="Poses").click()
    kept.wait_for_selector(".pose-list li.taken")
    return kept
