"""Certificates made by hand, of an invented laboratory: what a renderer is given, without the rest of the program."""

from dataclasses import replace

from reports.document import (
    Cell,
    CertificateDocument,
    Change,
    Column,
    ControlRow,
    DerivedNote,
    Grade,
    MethodNote,
    OpinionNote,
    Remark,
    Row,
    SamplingNote,
    Signature,
)

NO_BREAK_SPACE = "\u00a0"
# Wavelengths in nm, as common line tables list them.
LINES_NM = (181.972, 188.979, 213.857, 220.353, 259.940, 267.595, 327.395, 328.068)
ANALYTES = (
    ("Au", "g/t", "FA", "0.01", "0.03"),
    ("Ag", "g/t", "AR", "0.2", "0.6"),
    ("As", "mg/kg", "AR", "1", "3"),
    ("Cu", "mg/kg", "AR", "0.5", "1.5"),
    ("Fe", "%", "AR", "0.01", "0.03"),
    ("Pb", "mg/kg", "AR", "1", "3"),
    ("S", "%", "AR", "0.01", "0.03"),
    ("Zn", "mg/kg", "AR", "0.5", "1.5"),
)
MORE = ("Al", "Ba", "Ca", "Cd", "Co", "Cr", "K", "Li", "Mg", "Mn", "Mo", "Na", "Ni", "P", "Sr", "Ti")
RARE = ("Be", "Bi", "Ce", "Cs", "Ga", "Ge", "Hf", "In", "La", "Nb", "Rb", "Re", "Sb")
RAREST = ("Sc", "Se", "Sn", "Ta", "Te", "Th", "Tl", "U", "V", "W", "Y", "Zr")


def columns(count: int) -> tuple[Column, ...]:
    """Return the first `count` of 49 invented columns."""
    rows = [*ANALYTES, *((formula, "mg/kg", "AR", "0.5", "1.5") for formula in (*MORE, *RARE, *RAREST))]
    return tuple(
        Column(formula, formula, unit, "as received", method, detection, quantification)
        for formula, unit, method, detection, quantification in rows[:count]
    )


def cell(column: Column, index: int) -> Cell:
    """Return an invented cell: below the detection limit, between the limits, small, or with thousands."""
    places = len(column.detection_limit.partition(".")[2])
    kind = (index * 7 + len(column.formula) * 3 + ord(column.formula[0])) % 6
    if kind == 0:
        limit = column.detection_limit
        return Cell(column.key, f"<{limit}", None, "<", limit, places, "", "", index)
    if kind == 1:
        return Cell(column.key, column.detection_limit, column.detection_limit, "", None, places, "a", "", index)
    if kind == 2 and column.unit == "mg/kg":
        number = str(1000 + 10 * (index * 37 % 800))
        printed = f"{number[0]}{NO_BREAK_SPACE}{number[1:]}"
        return Cell(column.key, printed, number, "", None, 0, "", "", index)
    number = f"{(index * 13 % 90) + 2 + 0.37:.{places}f}"
    return Cell(column.key, number, number, "", None, places, "", "", index)


def rows(of: tuple[Column, ...], count: int, conformity: bool = False) -> tuple[Row, ...]:
    """Return `count` invented samples."""
    words = ("conforms", "does not conform, within U", "conforms, within U", "conforms")
    made = []
    for index in range(count):
        said = words[index % 4] if conformity else ""
        made.append(
            Row(
                f"KF26-{4112 + index:05d}",
                f"NRD014 {112 + index}.0 m",
                "rock",
                "in good order",
                tuple(cell(column, index) for column in of),
                said,
                None if not said else not said.startswith("does"),
            )
        )
    return tuple(made)


def controls(of: tuple[Column, ...]) -> tuple[ControlRow, ...]:
    """Return invented control samples for each column: blank, reference material, duplicate, spike."""
    made = []
    for kind, label, expected, found, measure, limits in (
        ("method blank", "", "", "<0.2", "", ""),
        ("certified reference material", "RM GC-17", "184 ± 9", "177", "recovery 96.2 %", "90–110"),
        ("laboratory duplicate", "of KF26-04125", "", "103", "relative difference 4.9 %", "20"),
        ("matrix spike", "of KF26-04112", "50.0", "51.2", "spike recovery 102.4 %", "80–120"),
    ):
        for column in of:
            made.append(
                ControlRow(
                    "R26-0437",
                    kind,
                    label,
                    column.formula,
                    column.unit,
                    expected,
                    found,
                    measure,
                    limits,
                    "outside" if (kind, column.formula) == ("matrix spike", "Zn") else "within",
                    "Hamid Castellane: the parent held forty times what was added"
                    if (kind, column.formula) == ("matrix spike", "Zn")
                    else "",
                )
            )
    return tuple(made)


METHODS = (
    MethodNote(
        "FA",
        "FA-30",
        4,
        "30 g fused with lead oxide; the bead parted, dissolved to 10.00 mL, diluted; plasma emission",
        "Au 267.595",
        ("R26-0436",),
        "judged, not subtracted",
        "",
    ),
    MethodNote(
        "AR",
        "AR-7",
        7,
        "0.5 g in aqua regia at 95 °C for 2 h, to 50.00 mL; plasma emission. Aqua regia does not dissolve every "
        "mineral: what is reported is what it dissolves",
        "Ag 328.068, As 188.979, Cu 327.395, Fe 259.940, Pb 220.353, S 181.972, Zn 213.857",
        ("R26-0437",),
        "judged, not subtracted",
        "",
    ),
)


def certificate(analytes: int = 8, samples: int = 14, conformity: bool = False) -> CertificateDocument:
    """Return an invented certificate."""
    of = columns(analytes)
    return CertificateDocument(
        title="Certificate of analysis",
        laboratory="Kestrel Flat Laboratory",
        address=("Gravel Road", "Kestrel Flat"),
        place_of_work="Kestrel Flat",
        number="C26-0297",
        issue=1,
        client="Ninefold Ridge prospect",
        client_address=("Camp Office",),
        reference="NRD014, order 26-118",
        submission="S26-0311",
        sampling="by the client; the laboratory took no part in it",
        received="9 November 2026, in good order",
        sampled="5 November 2026, by the client",
        measured="10 to 11 November 2026",
        issued="12 November 2026",
        reported_on="the sample as received; the samples were dried by the client",
        description=f"{samples} samples of rock",
        columns=of,
        rows=rows(of, samples, conformity),
        remarks=(
            Remark("a", "Between the detection limit and the quantification limit: found, but not to be relied on."),
            Remark("b", "Another remark, which one sample has."),
        ),
        methods=METHODS,
        controls=controls(of),
        rule_name="Three figures, version 2",
        rule_text="Values are rounded once, here: three figures, no more decimals than the detection limit has.",
        uncertainty_text="Expanded uncertainty U, coverage factor k = 2, about 95 %.",
        conformity_text="The limit of 250 mg/kg for arsenic was given by the client." if conformity else "",
        departures=("KF26-04118 was measured again after a fault of the nebuliser.",),
        statements=(
            "The results relate only to the items tested.",
            "The results apply to the sample as received.",
        ),
        signatures=(
            Signature("Hamid Castellane", "Reviewed and approved", "Thu 12 November 2026, 10:31 +01:00"),
            Signature("Marta Quill", "Issued for the laboratory", "Thu 12 November 2026, 14:05 +01:00"),
        ),
        chain_head="9f2c4b7a" * 8,
        check_code="7KQ4-MX2R",
        line_rule_nm=LINES_NM,
    )


def amendment() -> CertificateDocument:
    """Return the second issue of the certificate: one changed value."""
    first = certificate()
    row = first.rows[3]
    changed = tuple(
        replace(c, printed="123", number="123", sign="", limit=None, decimals=0, changed=True, mark="")
        if c.column == "As"
        else c
        for c in row.cells
    )
    return replace(
        first,
        issue=2,
        rows=(*first.rows[:3], replace(row, cells=changed), *first.rows[4:]),
        replaces="issue 1 of 12 November 2026",
        replaces_why="The maker of arsenic stock lot L-2209 withdrew it: it held 3.4 % more than stated.",
        changes=(Change(row.number, "As, mg/kg", "119", "123"),),
    )


def with_limits_of_their_own(analytes: int = 6, samples: int = 12) -> CertificateDocument:
    """Return a certificate with a result in words, uncertainties, and samples that have limits of their own."""
    document = certificate(analytes, samples)
    made = []
    for at, row in enumerate(document.rows):
        cells = [replace(one, u="0.4" if one.number else "") for one in row.cells] if at % 2 else list(row.cells)
        if at % 3 == 0:
            cells[1] = replace(cells[1], detection_limit="0.4", quantification_limit="1.2")
        if at == 4:
            words = "insufficient sample, not measured"
            cells[2] = replace(cells[2], printed=words, number=None, sign="", limit=None, mark="b")
        made.append(
            replace(row, cells=tuple(cells), condition="bag torn, part of it lost" if at == 2 else row.condition)
        )
    return replace(document, rows=tuple(made))


def everything() -> CertificateDocument:
    """Return a certificate with each thing that few have: sampling, opinion, means, several submissions, an address."""
    document = certificate(5, 9)
    heads = document.columns[:2]
    means = tuple(
        replace(one, printed="1.24", number="1.24", sign="", limit=None, mark="", u="0.1")
        for one in document.rows[0].cells[:2]
    )
    return replace(
        document,
        rows=tuple(replace(row, submission=f"S26-03{11 + at // 5}") for at, row in enumerate(document.rows)),
        submissions=("S26-0311", "S26-0312"),
        accreditation="Results marked † are within the scope of accreditation.",
        sampling_notes=(
            SamplingNote(
                "all samples",
                "A. Adeyemi",
                "5 November 2026",
                "face 3, north drive",
                "plan SP-2, grab samples",
                "dry",
                "not known",
            ),
        ),
        opinions=(
            OpinionNote(
                "KF26-04112",
                "The gold is likely to be coarse.",
                "two pulps that differ",
                "Hamid Castellane",
                "12 November 2026",
            ),
        ),
        derived_notes=(
            DerivedNote(
                "Au",
                "Au",
                "gold over the set",
                "sum of mass times grade over sum of mass",
                "A term below its detection limit counts as zero.",
                "common practice, no source",
            ),
        ),
        grade_columns=heads,
        grades=(Grade("Composite 1", "KF26-04112 to KF26-04116", "12.40", means),),
        verify_address="https://lab.example/v/7KQ4-MX2R",
    )
