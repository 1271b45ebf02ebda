"""A receipt, labels and a bench sheet made by hand, of an invented delivery."""

from typing import Any

from reports.labels import PAGES_MM, Label, LabelSheet, Layout, Span, grid
from reports.paper import BenchRow, BenchSheet, Column, Notice, ReceiptDocument, ReceiptLine

SHEET = grid(PAGES_MM["A4"], Span(3, 9, 9, 0, None, "columns", "across"), Span(8, 12.5, 12, 0, None, "rows", "down"))
"""24 labels of 64 × 34 mm."""

RECEIPT = ReceiptDocument(
    laboratory="Kestrel Flat Laboratory",
    address=("Gravel Road", "Kestrel Flat"),
    number="S26-0327",
    printed="Tue 17 November 2026, 08:21",
    due="Thu 26 November 2026",
    due_words="7 working days, as agreed with you",
    delivered="4 samples",
    delivered_words="wheat grain, 80.7 g together",
    asked_for="PLANT-10 v3",
    asked_for_words="Ca Mg K P S Na Fe Zn Mn Cu; mg/kg on dry basis, moisture beside it",
    client="Tern Hollow Grain Co-operative",
    reference="THG-2611-3",
    received="17 November 2026, 08:05, by Ines Marlow, at the counter",
    kept_until="25 February 2027",
    arrival=(Notice("Seals", "intact"), Notice("Temperature", "6.5 °C on receipt")),
    unit="g",
    lines=(
        ReceiptLine("KF26-04201", "THG paddock 7 /  bin 01", "24.6", ""),
        ReceiptLine("KF26-04202", '<b>&"x', "24", "bag torn, none lost"),
        ReceiptLine("KF26-04203", "=THG silo 2", "25.9", ""),
        ReceiptLine("KF26-04204", "THG silo 3 / top", "6.2", "little material: no repeat possible", warns=True),
    ),
    otherwise=(Notice("Rows 1–2", "as received"),),
    notices=(
        Notice("Row 4, THG silo 3 / top", "6.2 g is enough for one measurement and moisture, and for no repeat."),
    ),
    received_by="Ines Marlow",
    received_when="Tue 17 November 2026, 08:21",
    line_rule_nm=(178.284, 181.972, 213.857, 213.618, 257.610, 259.940, 279.079, 317.933, 327.395, 589.592, 766.491),
)


def labels(count: int, layout: Layout = SHEET, **more: Any) -> LabelSheet:
    """Return `count` invented labels, two bottles to a sample; codes hold laboratory numbers alone."""
    made = tuple(
        Label(
            number := f"KF26-{4175 + index // 2:05d}",
            number,
            f"TW-{index // 2:02d} Eel Quay, 24 h",
            "field filtered" if index % 2 else "unfiltered",
            heavy=bool(index % 2),
            matter="river water; nitric acid, pH 2",
            foot="S26-0325, due Thu 19 Nov",
        )
        for index in range(count)
    )
    return LabelSheet(f"Labels for S26-0325, {count} bottles", "Kestrel Flat Laboratory", layout, made, **more)


def _tube(tube: int, label: str, what: str, *figures: str, note: str = "", is_outside: bool = False) -> BenchRow:
    code = label.removesuffix(" (2)")
    return BenchRow(
        tube, label, code, what, figures or ("", "", ""), "", note, is_control=" " in code, is_outside=is_outside
    )


BENCH = BenchSheet(
    laboratory="Kestrel Flat Laboratory",
    number="B26-0009",
    method="FD-4 v3",
    title="Ore in four acids",
    printed="Tue 17 November 2026, 09:53, printed by Pelumi Adeyemi",
    begun="begun Tue 17 November 2026, 08:40 by Pelumi Adeyemi",
    tubes="24 tubes",
    heading="Hydrofluoric acid",
    cautions=(
        Notice("Hydrofluoric acid", "However small a splash: rinse at once, calcium gluconate gel, call, hospital."),
        Notice("Tube 4", "toxic."),
    ),
    decides="The laboratory's own risk assessment, local codes and licensed practice decide.",
    caution_read="Read and in place: Pelumi Adeyemi.",
    facts=(Notice("Balance", "B2, checked 13 Oct 2026, next due 13 Oct 2027"), Notice("Reagents", "")),
    columns=(Column("Tare", "g"), Column("Mass", "0.245–0.255 g"), Column("Volume", "to 25 mL")),
    usual_dilution="usually × 10",
    rows=(
        _tube(1, "B26-0009 MB1", "method blank", "27.7726", "", "25"),
        _tube(3, "KF26-00012", "NRD016 20.0 m", "27.2846", "0.2714", "25", note="outside: sticky", is_outside=True),
        *(_tube(tube, f"KF26-{tube + 9:05d}", f"NRD016 {tube}.0 m") for tube in range(4, 24)),
        _tube(24, "KF26-00031 D", "duplicate of tube 22"),
        _tube(25, "KF26-00011 (2)", "NRD016 2.0 m"),
    ),
    lost=(Notice("Tube 2, KF26-00011", "lost: boiled dry; taken again in tube 25."),),
    signatures=("weighed by", "reagents added by", "made up by", "entered by"),
)
