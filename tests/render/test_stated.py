"""Statements of conformity of single results on the certificate, and columns by different reporting rules."""

from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from itertools import chain

import pikepdf
import pytest
from pikepdf import Dictionary, parse_content_stream

from reports.document import CertificateDocument
from reports.render.pdf import render_certificate
from reports.render.stated import LEAD_IN, POINTER, SIGNS, key_to_signs, kind_of
from reports.rules.conformity import Statement
from tests.render import documents
from tests.render.archival import CHECKS
from tests.render.reading import pages

AUTHORITY = "What follows from a statement is for the client and the authority to decide."


def _stated(statements: Sequence[Sequence[str]], analytes: int = 4) -> CertificateDocument:
    """A certificate with these statements, a row a sample; an analyte without one has no limit."""
    document = documents.certificate(analytes, len(statements))
    rows = []
    for row, said in zip(document.rows, statements, strict=True):
        more = [*said, *[""] * (len(row.cells) - len(said))]
        cells = tuple(replace(cell, statement=words) for cell, words in zip(row.cells, more, strict=True))
        rows.append(replace(row, cells=cells, conformity="; ".join(filter(None, said))))
    words = f"Limit: As 250 mg/kg. Decision rule: simple. {AUTHORITY}"
    return replace(document, rows=tuple(rows), conformity_text=words)


def _heard(pdf: bytes) -> list[list[str]]:
    """Return what stands for drawn signs on each page, for whoever hears it."""
    with pikepdf.open(BytesIO(pdf)) as opened:
        return [
            [
                bytes(operands[1].ActualText).decode("utf-16")
                for operands, operator in parse_content_stream(page)
                if str(operator) == "BDC" and isinstance(operands[1], Dictionary) and "/ActualText" in operands[1]
            ]
            for page in opened.pages
        ]


def test_every_statement_has_a_sign_of_its_own() -> None:
    assert list(SIGNS) == [
        *(Statement.CONFORMS, Statement.CONFORMS_WITHIN_U, Statement.DOES_NOT_WITHIN_U),
        *(Statement.DOES_NOT_CONFORM, Statement.CANNOT_BE_DECIDED),
    ]
    assert len(set(SIGNS.values())) == len(SIGNS)


@pytest.mark.parametrize(
    ("statement", "kind"),
    [
        ("conforms", "conforms"),
        ("does not conform, within U", "does not conform, within U"),
        ("conforms, probability 97.7 %", "conforms"),
        ("", ""),
        ("a word of another day", ""),
    ],
)
def test_a_statement_without_its_probability(statement: str, kind: str) -> None:
    assert kind_of(statement) == kind


def test_a_result_with_a_limit_is_heard_with_its_statement_and_others_are_not() -> None:
    said = (("conforms", "does not conform"), ("conforms, probability 97.7 %",), ())
    assert _heard(render_certificate(_stated(said)))[0] == [
        *("conforms", "does not conform"),
        "conforms, probability 97.7 %",
    ]


def test_the_signs_of_a_page_are_explained_on_it_and_no_others() -> None:
    said = [("conforms",)] * 70 + [("does not conform, within U",)] * 3
    pdf = render_certificate(_stated(said))
    texts, heard = pages(pdf), _heard(pdf)
    assert {len(set(of_page)) for of_page in heard} == {0, 1, 2}  # the tail has none, the first page one
    for text, of_page in zip(texts, heard, strict=True):
        assert (LEAD_IN in text) == (POINTER in text) == bool(of_page)
        key = text.partition(LEAD_IN)[2].partition(POINTER)[0].strip()
        assert key == " ".join(kind for kind in SIGNS if kind in of_page)
    assert AUTHORITY in " ".join(texts)


def test_a_certificate_without_limits_explains_no_signs() -> None:
    assert LEAD_IN not in " ".join(pages(render_certificate(documents.certificate(4, 3))))


def test_the_key_goes_on_in_the_next_line_where_one_is_full() -> None:
    key = key_to_signs(SIGNS, lambda text: float(len(text)), 100.0)
    assert {said.line for said in key} == {0, 1, 2}
    assert [said.text for said in key] == [LEAD_IN, *SIGNS, POINTER]
    assert all(said.text_x + len(said.text) <= 100.0 for said in key)
    assert key_to_signs((), lambda text: 1.0, 100.0) == ()


@pytest.mark.parametrize("analytes", [6, 12, 45])
def test_a_certificate_full_of_statements_meets_the_clauses(analytes: int) -> None:
    kinds = list(SIGNS)
    said = [[kinds[(at + row) % len(kinds)] for at in range(analytes)] for row in range(6)]
    pdf = render_certificate(_stated(said, analytes))
    assert sorted(chain.from_iterable(_heard(pdf))) == sorted(chain.from_iterable(said))
    with pikepdf.open(BytesIO(pdf)) as opened:
        assert {clause: wrong for clause, check in CHECKS.items() if (wrong := check(opened))} == {}


def test_columns_by_other_rules_say_so_and_the_rules_are_named() -> None:
    document = documents.certificate(4, 2)
    gold, silver, arsenic, copper = document.columns
    mixed = replace(document, columns=(gold, replace(silver, rule_set="Ore grade, version 2"), arsenic, copper))
    text = " ".join(pages(render_certificate(mixed)))
    assert "Reporting rules 1 2 1 1" in text
    assert "Reporting rules 2 in the head of the results: Ore grade, version 2; Ag (AR)." in text
    assert "Reporting rules" not in " ".join(pages(render_certificate(document)))
