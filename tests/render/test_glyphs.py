"""Signs as they are drawn: the same glyphs and widths that setting them would give."""

import pytest

from reports.render.figures import DIGIT_EM
from reports.render.glyphs import glyphs_for
from reports.render.measure import width_mm
from reports.render.printing import CannotPrint


@pytest.mark.parametrize("face", ["text", "bold", "mono"])
@pytest.mark.parametrize("text", ["Ninefold Ridge", "<>", "a\u00a0b", "µg/L ± Ż"])
def test_a_line_is_as_wide_as_its_face_says(face: str, text: str) -> None:
    """Measured from the face's own advances (`render.measure`, which adds 1 %)."""
    found = glyphs_for([(face, text)]).width_em(face, text) * 10 * 25.4 / 72
    assert found == pytest.approx(width_mm(text, face, 10.0) / 1.01, rel=0.03)


@pytest.mark.parametrize("face", ["text", "bold", "mono"])
def test_figures_are_all_as_wide_as_the_layout_takes_them_to_be(face: str) -> None:
    glyphs = glyphs_for([])
    assert {round(glyphs.width_em(face, figure), 3) for figure in "0123456789"} == {DIGIT_EM}


def test_a_line_in_two_fonts_is_two_runs() -> None:
    runs = glyphs_for([("text", "Żx")]).runs("text", "Żx")
    assert len({run.font for run in runs}) == 2


def test_certificates_with_the_same_signs_share_a_sheet() -> None:
    assert glyphs_for([("text", "KF26 <0.2")]) is glyphs_for([("text", "another 7.5"), ("bold", "Zn")])


def test_a_sign_that_nobody_asked_for_is_named() -> None:
    with pytest.raises(CannotPrint, match=r"U\+0416"):
        glyphs_for([("text", "A")]).runs("text", "Ж")
