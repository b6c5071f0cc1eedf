"""What a person reads on the terminal says what the JSON says."""

import io

import numpy as np
import pytest
from rich.console import Console

from orient.show.document import ranking_document
from orient.show.table import direction_words, print_ranking, ranking_view
from tests.evaluated import open_box, sample, under_limits, without_load

LAID_OPEN = (lambda: sample("mast_bracket"), without_load, under_limits, open_box)


def printed(evaluation, width=100, **more):
    text = io.StringIO()
    Console(file=text, width=width, highlight=False).print(ranking_view(evaluation, width, **more))
    return text.getvalue()


def flowing(text):
    """Text without the breaks that a narrow terminal makes."""
    return " ".join(text.replace("•", " ").split())


@pytest.mark.parametrize("evaluation", LAID_OPEN)
@pytest.mark.parametrize("width", [80, 100])
def test_rows_hold_the_figures_of_the_json(evaluation, width):
    found = evaluation()
    document = ranking_document(found)
    lines = printed(found, width).splitlines()
    for row in found.ranking.shown:
        candidate = document["candidates"][row]
        measures = candidate["measures"]
        number = f"{candidate['rank']}{'*' if candidate['undominated'] else ''}"
        (line,) = [line for line in lines if line.split(" ")[0] == number]
        figures = line.split()
        assert ("◀" in figures) == (candidate["rank"] == document["recommended"])
        assert f"{measures['support_needed_mm3']:,.0f}" in figures
        assert f"{measures['height_mm']:.1f}" in figures
        assert f"{measures['first_layer_mm2']:,.0f}" in figures
        assert f"{measures['stair_step_mm']:.3f}" in figures
        assert figures[-1] == f"{candidate['penalty']['total']:.3f}"
        if "safety_factor" in measures:
            assert f"{measures['safety_factor']:.2f}" in figures
        elif measures["strength_retained"] is not None:
            assert f"{100 * measures['strength_retained']:.0f} %" in line
        if "rest" in candidate:
            assert f"{candidate['rest']['contact_mm2']:,.0f}" in line
            assert ("tips" in line) != candidate["rest"]["stable"]
        else:
            assert "no flat" in line


@pytest.mark.parametrize("evaluation", LAID_OPEN)
def test_the_pose_to_take_is_named_with_all_its_reasons(evaluation):
    document = ranking_document(evaluation())
    text = flowing(printed(evaluation()))
    taken = document["candidates"][document["recommended"] - 1]
    assert f"Take pose {document['recommended']}: build along" in text
    notes = [note for note in document["notes"] if "corners were merged" not in note]
    for sentence in (*taken["why"], *notes, *document["warnings"], *document["cautions"]):
        assert flowing(sentence) in text


@pytest.mark.parametrize("evaluation", LAID_OPEN)
def test_every_pose_shown_is_explained_when_asked_for(evaluation):
    document = ranking_document(evaluation())
    text, brief = flowing(printed(evaluation(), why=True)), flowing(printed(evaluation()))
    for row in evaluation().ranking.shown:
        candidate = document["candidates"][row]
        assert candidate["why"]
        assert all(flowing(sentence) in text for sentence in candidate["why"])
        taken = candidate["rank"] == document["recommended"]
        assert (f"Pose {candidate['rank']}: build along" in text) != taken
        assert f"Pose {candidate['rank']}: build along" not in brief


@pytest.mark.parametrize("evaluation", LAID_OPEN)
@pytest.mark.parametrize("width", [80, 96, 100])
def test_no_line_is_wider_than_the_terminal(evaluation, width):
    assert max(len(line) for line in printed(evaluation(), width).splitlines()) <= width


def test_the_strength_column_is_there_with_a_load_and_only_then():
    assert "strength" in printed(sample("mast_bracket"))
    assert "strength" not in printed(without_load()).lower()


def test_the_star_is_explained_by_what_it_weighs():
    assert "*: no pose betters it in support, height and load together." in flowing(
        printed(sample("mast_bracket"))
    )
    assert "*: no pose betters it in support and height together." in flowing(printed(without_load()))


def test_what_a_selector_selected_is_said_before_the_answer():
    text = flowing(printed(sample("mast_bracket")))
    (one,) = ranking_document(sample("mast_bracket"))["faces"]
    assert f"Faces that must stay free of support, {one['on']}: {one['description']}." in text
    assert text.index("Faces that") < text.index("build along")


def test_what_a_limit_leaves_out_is_counted_with_an_example():
    found = under_limits()
    text = flowing(printed(found))
    assert f"{len(found.ranking.excluded)} poses were left out, such as" in text
    reason = found.ranking.excluded[0].reason
    assert flowing(reason[0].lower() + reason[1:]) in text


def test_columns_of_an_open_mesh_that_are_approximate_are_marked():
    text = printed(open_box())
    assert "≈ support" in text
    assert "≈ first" in text
    assert "≈ height" not in text
    assert "≈: approximate" in flowing(text)
    assert "≈" not in printed(without_load())
    # What may make the answer wrong is read before the answer.
    assert text.index("not closed") < text.index("build along")


def test_the_part_and_the_process_head_the_table():
    head = printed(sample("mast_bracket")).splitlines()[0]
    document = ranking_document(sample("mast_bracket"))
    length, width, height = document["part"]["extents_mm"]
    assert f"{length:.1f} × {width:.1f} × {height:.1f} mm" in head
    assert f"{document['part']['volume_mm3'] / 1000:.1f} cm³" in head
    assert "ASA, 0.2 mm layers, overhangs to 45°" in head


def test_into_a_file_go_plain_lines_without_blanks_at_their_ends(capsys):
    print_ranking(sample("mast_bracket"))
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 10
    assert all(line == line.rstrip() and "\x1b" not in line for line in lines)


@pytest.mark.parametrize(
    ("direction", "words"),
    [
        ([0, 0, 1], "+z"),
        ([-1, 0, 0], "−x"),
        ([0, np.sin(0.01), np.cos(0.01)], "0.00 0.01 1.00"),
        ([-0.6, -1e-12, 0.8], "−0.60 0.00 0.80"),
    ],
)
def test_a_direction_is_named_by_its_axis_or_else_by_its_components(direction, words):
    assert direction_words(np.array(direction, dtype=float)) == words
