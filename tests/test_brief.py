"""A brief says what is known; a slip in it is answered with its name, its place and the nearest right one."""

import pytest

from orient.brief import Brief, read_brief, vector_from_text, with_flags
from orient.errors import OrientError

WHOLE = """\
[job]
number = 4711
revision = "B"
customer_ref = "wind mast"
quantity = 12
due = 2030-05-31
outdoor = true
wet = false
chemicals = ["salt spray"]

[part]
file = "parts/bracket.stl"
units = "mm"
body = 1

[process]
polymer = "PETG"
machine = "engineering"
nozzle_mm = 0.6
line_width_mm = 0.65
layer_height_mm = 0.25
overhang_limit_deg = 50
infill = 0.3
support = "same"

[load]
stress_axis = [1, 0, 0]
kind = "bending"
service_temp_c = 45
sustained = true

[[load.case]]
name = "gust"
both_ways = true
fixed = ["cylinder:0,0,0,0,0,1,4"]
gravity = [0, 0, -1]
acceleration_m_s2 = [0, 3, 0]
[[load.case.force]]
on = "face-near:12.5,0,40"
newtons = [0, 0, -120]
[[load.case.pressure]]
on = "plane:0,0,1,40"
mpa = 0.2
[[load.case.moment]]
on = "cylinder:0,0,0,0,0,1,4"
newton_mm = 900

[[faces]]
on = "face-near:0,0,10"
matters = "fit"
[[faces]]
on = "plane:0,0,1,40"
matters = "visible"

[weights]
support = 1
height = 0.5
load = 2
first_layer = 0.2
finish = 0.2
faces = 1
preset = "strong"

[limits]
max_height_mm = 180
envelope_mm = [220, 220, 250]
min_strength_retained = 0.6
min_safety_factor = 2
max_deflection_mm = 0.5

[rates]
currency = "EUR"
machine_per_hour = 4.5

[polymer]
strength_in_layer_mpa = 47
strength_across_mpa = 31.5
strength_shear_mpa = 18
source = "bars printed in May"
"""


TWO_FACES = "[[faces]]\non = 'a'\nmatters = 'fit'\n[[faces]]\non = 'b'\nmaters = 'fit'"
TWO_CASES = "[[load.case]]\n[[load.case]]\n[[load.case.force]]\non = 'a'\nnewton = [1, 0, 0]"


@pytest.fixture
def written(tmp_path):
    def write(text, name="job.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def refusal(path):
    with pytest.raises(OrientError) as caught:
        read_brief(path)
    sentence = str(caught.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert path.name in sentence
    return sentence


def test_every_documented_key_is_read(written):
    brief = read_brief(written(WHOLE))
    assert brief.job.number == "4711"
    assert brief.job.due.isoformat() == "2030-05-31"
    assert brief.load.stress_axis == ((1.0, 0.0, 0.0),)
    assert brief.load.case[0].force[0].newtons == (0.0, 0.0, -120.0)
    assert [f.matters for f in brief.faces] == ["fit", "visible"]
    assert brief.limits.envelope_mm == (220, 220, 250)
    assert brief.weights.given()["height"] == 0.5


def test_everything_is_optional(written):
    brief = read_brief(written(""))
    assert brief == Brief()
    assert brief.load.stress_axis is None
    assert brief.unused() == ()


def test_the_part_is_found_beside_the_brief(written):
    path = written(WHOLE)
    assert read_brief(path).part.file == str(path.parent / "parts" / "bracket.stl")


def test_an_absolute_part_stays_where_it_is(written):
    assert read_brief(written('[part]\nfile = "/srv/a.stl"')).part.file == "/srv/a.stl"


def test_no_documented_key_is_read_in_vain(written):
    assert read_brief(written(WHOLE)).unused() == ()


def test_several_stress_axes_are_a_list(written):
    brief = read_brief(written("[load]\nstress_axis = [[1, 0, 0], [0, 1, 0]]"))
    assert brief.load.stress_axis == ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[process]\nlayer_hight_mm = 1", 2, 'no key "layer_hight_mm"; the nearest is "layer_height_mm"'),
        ("\n\n[proces]\npolymer = 'PLA'", 3, 'no section "proces"; the nearest is "process"'),
        ("[job]\nlayer_height_mm = 0.2", 2, '[job] has no key "layer_height_mm"; it belongs in [process]'),
        ("layer_height_mm = 0.2", 1, "it belongs in [process]"),
        ("polymer = 'PLA'", 1, 'the key "polymer" belongs in [process]'),
        (
            "[load]\nkind = 'tensoin'",
            2,
            'must be "tension", "compression" or "bending"; the nearest is "tension"',
        ),
        ("[load]\nstress_axis = [0, 0, 0]", 2, "[load] stress_axis has no length"),
        ("[load]\nstress_axis = [1, 0]", 2, "[load] stress_axis is [1, 0]; it should hold more numbers"),
        ("[load]\nstress_axis = [1, 0, nan]", 2, "[load] stress_axis is nan; it should be a finite number"),
        ("[load]\nstress_axis = []", 2, "stress_axis is empty"),
        ("[weights]\nsupport = -1", 2, "[weights] support is -1; it should be greater than or equal to 0"),
        ("[weights]\nsupport = nan", 2, "[weights] support is nan; it should be a finite number"),
        ("[process]\nlayer_height_mm = '0.2'", 2, 'layer_height_mm is "0.2"; it should be a valid number'),
        ("[process]\nlayer_height_mm = inf", 2, "finite"),
        ("[process]\noverhang_limit_deg = 90", 2, "less than 90"),
        ("[job]\nquantity = 0", 2, "[job] quantity is 0; it should be greater than or equal to 1"),
        ("[job]\nquantity = true", 2, "[job] quantity is true"),
        ("[job]\ndue = 3", 2, "[job] due is 3; write a date such as 2030-05-31"),
        ('[job]\ndue = "soon"', 2, '[job] due is "soon"; write a date such as 2030-05-31'),
        ("[limits]\nmin_strength_retained = 60", 2, "is 60; it is a share: write 0.6"),
        ("[faces]\non = 'plane:0,0,1,4'", 1, "write it with double brackets, [[faces]]"),
        (
            "[job]\nuse = ['fod']",
            2,
            'use is "fod"; it must be "food", "skin", "medical" or "lifting"; the nearest',
        ),
        ("[process]\ninfill = 30", 2, "infill is 30; it is a share: write 0.3"),
        (
            "[[load.case]]\nname = 'a'\nforce = [{ on = 'hole-near:0,0,0', newtons = -50 }]",
            3,
            "newtons is -50; it should hold three numbers, such as [0, 0, -50]",
        ),
        (TWO_FACES, 6, '[[faces]] number 2 has no key "maters"; the nearest is "matters"'),
        ("[[faces]]\non = 'plane:0,0,1,4'", 1, 'number 1 needs the key "matters"'),
        (TWO_CASES, 5, '[[load.case.force]] number 1 has no key "newton"; the nearest is "newtons"'),
        ("[part]\nbody = 1\ntogether = true", 1, "only one of the two"),
        ("[process]\nmake_up_shrinkage = true\nscale_xyz = [1.0, 1.0, 1.0]", 1, "only one of the two"),
        ("[process]\nscale_xyz = [1.0, 1.0, 5.0]", 2, "scale_xyz"),
        ("process.layer_hight_mm = 0.2", 1, 'the nearest is "layer_height_mm"'),
    ],
)
def test_a_slip_is_named_with_its_place_and_the_nearest_right_one(written, text, line, said):
    sentence = refusal(written(text))
    assert f"job.toml, line {line}: " in sentence
    assert said in sentence


def test_weights_that_are_all_zero_rank_nothing(written):
    zeros = "[weights]\nsupport = 0\nheight = 0\nload = 0\nfirst_layer = 0\nfinish = 0\n"
    assert "all weights are 0" in refusal(written(zeros))
    assert (
        read_brief(written(zeros + "[[faces]]\non = 'box:0,0,0,1,1,1'\nmatters = 'fit'")).weights.support == 0
    )


def test_bad_toml_is_told_with_its_line(written):
    assert "is not valid TOML" in refusal(written("[job]\nnumber = = 3"))
    assert "line 2" in refusal(written("[job]\nnumber = = 3"))


def test_a_file_that_is_not_utf8_is_told_with_its_line(written):
    assert "line 2, is not UTF-8" in refusal(written("[job]\nnumber = 'Größe'".encode("latin-1")))


def test_a_byte_order_mark_does_no_harm(written):
    assert read_brief(written("\ufeff[job]\nnumber = 'A'")).job.number == "A"


def test_a_missing_brief_and_a_folder_are_told_apart(tmp_path):
    assert "does not exist" in refusal(tmp_path / "gone.toml")
    assert "is a folder" in refusal(tmp_path)


def test_flags_win_over_the_brief(written):
    brief = read_brief(written(WHOLE))
    turned = with_flags(brief, {"load.stress_axis": [(0, 0, 1)], "process.polymer": "ABS", "load.kind": None})
    assert turned.load.stress_axis == ((0.0, 0.0, 1.0),)
    assert turned.process.polymer == "ABS"
    assert turned.load.kind == "bending"
    assert turned.process.layer_height_mm == 0.25
    assert turned.unused() == brief.unused()


def test_no_flags_change_nothing(written):
    brief = read_brief(written(WHOLE))
    assert with_flags(brief, {}) == brief


def test_a_preset_flag_sets_the_briefs_weights_aside(written):
    brief = read_brief(written("[weights]\nsupport = 3"))
    assert with_flags(brief, {"weights.preset": "flat"}).weights.given() == {}
    assert with_flags(brief, {"weights.height": 1.0}).weights.given() == {"support": 3.0, "height": 1.0}


def test_a_body_flag_sets_together_aside(written):
    brief = read_brief(written("[part]\ntogether = true"))
    assert with_flags(brief, {"part.body": 2}).part.together is None


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        ({"weights.suport": 1.0}, 'has no key "suport"; the nearest is "support"'),
        ({"load.stress_axis": (0.0, 0.0, 0.0)}, "no length"),
        ({"weights.load": -1.0}, "greater than or equal to 0"),
        ({"process.layer_height_mm": float("nan")}, "finite"),
    ],
)
def test_a_wrong_flag_is_told_as_the_command_lines(flags, said):
    with pytest.raises(OrientError) as caught:
        with_flags(Brief(), flags)
    assert str(caught.value).startswith("command line: ")
    assert said in str(caught.value)


def test_a_wrong_flag_is_told_by_its_own_name_where_that_is_known():
    with pytest.raises(OrientError) as caught:
        with_flags(Brief(), {"process.layer_height_mm": -1.0}, {"process.layer_height_mm": "--layer"})
    assert str(caught.value).startswith("--layer: ")


def test_a_vector_is_read_from_a_flag():
    assert vector_from_text("1,0,-0.5") == (1.0, 0.0, -0.5)


@pytest.mark.parametrize("text", ["1,0", "1,0,0,0", "x,y,z", "nan,0,0", "inf,0,0", ""])
def test_what_is_no_direction_is_refused(text):
    with pytest.raises(OrientError, match="three numbers"):
        vector_from_text(text)


def test_the_resolved_brief_reads_back_the_same(written):
    brief = read_brief(written(WHOLE))
    plain = brief.resolved()
    assert Brief.model_validate(plain) == brief
    assert "rates" not in read_brief(written("")).resolved()


@pytest.mark.parametrize(
    ("plain", "says"),
    [
        ({"proces": {"polymer": "PLA"}}, 'no section "proces"; the nearest is "process"'),
        ({"process": {"layer_hight_mm": 0.2}}, '"layer_hight_mm"; the nearest is "layer_height_mm"'),
        ({"load": {"stress_axis": [0, 0, 0]}}, "[load] stress_axis has no length"),
        ({"faces": [{"on": "box:0,0,0,1,1,1", "matters": "fitt"}]}, 'the nearest is "fit"'),
        ("job.toml", "no table of sections"),
    ],
)
def test_a_brief_of_plain_values_is_refused_in_the_same_words_as_a_file(plain, says):
    with pytest.raises(OrientError) as refusal:
        Brief.model_validate(plain)
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)
