"""Every example in a docstring of the package runs and gives what it says."""

import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest

import orient

HERE = Path(__file__).resolve().parents[1]
MODULES = ["orient", *(found.name for found in pkgutil.walk_packages(orient.__path__, "orient."))]


def examples(name):
    """The docstrings of a module that hold examples."""
    module = importlib.import_module(name)
    return [test for test in doctest.DocTestFinder().find(module, name) if test.examples]


@pytest.mark.parametrize("name", MODULES)
def test_examples_give_what_they_say(name, monkeypatch):
    # Examples name sample parts as seen from the repository.
    monkeypatch.chdir(HERE)
    runner = doctest.DocTestRunner()
    said = []
    for test in examples(name):
        runner.run(test, out=said.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(said)


def test_the_package_explains_itself_by_examples():
    assert sum(len(examples(name)) for name in MODULES) >= 30
