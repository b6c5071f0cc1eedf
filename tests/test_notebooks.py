"""The notebooks run from top to bottom, and what is committed is what they say."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).resolve().parents[1] / "notebooks").glob("*.ipynb"))


def printed(notebook):
    """All that the cells of a notebook print."""
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    return "".join(output.text for output in outputs if output.output_type == "stream")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_committed_notebook_ran_in_order_and_is_light(path):
    notebook = nbformat.read(path, 4)
    nbformat.validate(notebook)
    cells = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    kinds = {output.output_type for cell in cells for output in cell.outputs}
    assert "display_data" in kinds
    assert "error" not in kinds
    assert path.stat().st_size < 400_000
    # Nothing of the machine that ran it.
    assert not re.search(r"/(home|tmp|root|Users)/|\x1b", printed(notebook))


@pytest.mark.slow  # some twenty evaluations in a kernel of its own
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs_and_still_says_the_same(path, monkeypatch):
    # The kernel finds the package as the tests do, installed or not.
    monkeypatch.setenv("PYTHONPATH", str(path.parents[1]))
    committed = nbformat.read(path, 4)
    fresh = nbformat.read(path, 4)
    NotebookClient(fresh, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()

    def said(notebook):
        # Words and the order of figures; their last digits may differ from machine to machine.
        return re.findall(r"[A-Za-z+−]{2,}|[+−][xyz]", printed(notebook))

    assert said(fresh) == said(committed)
