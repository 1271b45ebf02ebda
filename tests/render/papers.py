"""A receipt and labels made by hand, of an invented delivery."""

from reports.paper import Label, LabelSheet, Notice, ReceiptDocument, ReceiptLine

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
    unit="g",
    lines=(
        ReceiptLine("KF26-04201", "THG paddock 7 /  bin 01", "24.6", ""),
        ReceiptLine("KF26-04202", '<b>&"x', "24", "bag torn, none lost"),
        ReceiptLine("KF26-04203", "=THG silo 2", "25.9", ""),
        ReceiptLine("KF26-04204", "THG silo 3 / top", "6.2", "little material: no repeat possible", warns=True),
    ),
    notices=(
        Notice("Row 4, THG silo 3 / top", "6.2 g is enough for one measurement and moisture, and for no repeat."),
    ),
    received_by="Ines Marlow",
    received_when="Tue 17 November 2026, 08:21",
    line_rule_nm=(178.284, 181.972, 213.857, 213.618, 257.610, 259.940, 279.079, 317.933, 327.395, 589.592, 766.491),
)


def labels(count: int) -> LabelSheet:
    """Return `count` invented labels, two bottles to a sample."""
    made = []
    for index in range(count):
        dissolved = index % 2 == 1
        number = f"KF26-{4175 + index // 2:05d}"
        made.append(
            Label(
                number,
                f"{number}-{'D' if dissolved else 'T'}",
                f"TW-{index // 2:02d} Eel Quay, 24 h",
                "dissolved" if dissolved else "total",
                dissolved,
                "0.45 µm; in nitric acid, pH 2" if dissolved else "in nitric acid, pH 2",
                "S26-0325, due Thu 19 Nov",
            )
        )
    return LabelSheet(f"Labels for S26-0325, {count} bottles", "Kestrel Flat Laboratory", tuple(made))
