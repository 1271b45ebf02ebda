"""The headings that clients write over a list of samples, and the columns of a delivery that they mean.

The words are the usual ones of the trade (from memory), in English and a few of its neighbours. A heading that is not
here is asked about, never guessed; one that is here is shown to the person and can be changed.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

UNITS: Mapping[str, Mapping[str, Decimal]] = {
    "delivered_g": {
        "mg": Decimal("0.001"),
        "g": Decimal(1),
        "kg": Decimal(1000),
        "t": Decimal(1_000_000),
    },
    "delivered_mL": {"µL": Decimal("0.001"), "mL": Decimal(1), "cL": Decimal(10), "L": Decimal(1000)},
    "density": {"kg/L": Decimal(1), "g/mL": Decimal(1), "g/cm³": Decimal(1), "kg/m³": Decimal("0.001")},
}
"""Units that a column may come in, with the exact factor to the unit that is kept (SI Brochure, 9th ed., 2019)."""

_SPELLINGS = {
    "milligram": "mg", "milligrams": "mg", "gr": "g", "gram": "g", "grams": "g", "gramme": "g", "grammes": "g",
    "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg", "kgs": "kg", "tonne": "t", "tonnes": "t",
    "ul": "µL", "μl": "µL", "microlitre": "µL", "microlitres": "µL", "millilitre": "mL", "millilitres": "mL",
    "milliliter": "mL", "milliliters": "mL", "mls": "mL", "ccm": "mL", "cm3": "mL", "cl": "cL", "centilitre": "cL",
    "litre": "L", "litres": "L", "liter": "L", "liters": "L", "ltr": "L", "dm3": "L", "g/cm3": "g/cm³",
    "g/cc": "g/cm³", "g/ccm": "g/cm³", "kg/m3": "kg/m³", "kg/dm3": "kg/L",
}  # fmt: skip

_KINDS = {unit: column for column, units in UNITS.items() for unit in units}
_SPELT = {unicodedata.normalize("NFKC", unit).casefold(): unit for unit in _KINDS} | _SPELLINGS
_LONGEST_FIRST = sorted(_SPELT, key=len, reverse=True)

_WORDS: Mapping[str, str] = {
    "client_identification": """
        sample|sample id|sample name|sample number|sample no|sample nr|sample ref|sample reference|sample identification
        |sample identifier|sample code|sample label|sample tag|sampleid|id|identification|identifier|your id|your ref
        |your reference|our ref|our reference|client id|client identification|clients own identification
        |client sample id|client sample|client ref|client reference|customer id|customer sample id|customer reference
        |label|name|field id|field number|field no|bag|bag number|bag no|bottle|bottle number|bottle no|tag|tag number
        |specimen|designation|probe|probenbezeichnung|probennummer|probe nr|bezeichnung|echantillon|nom de l echantillon
        |reference echantillon|muestra|id muestra|amostra|campione|monster|prove""",
    "matrix": """
        matrix|sample matrix|material|sample material|sample type|type|type of sample|kind|medium|media|substance
        |product|matrice|matriz|matrix type|probenart|probenmaterial|nature|type d echantillon|tipo de muestra|tipo""",
    "delivered_g": """
        mass|weight|wt|sample mass|sample weight|sample wt|amount by mass|mass delivered|delivered mass|delivered weight
        |weight delivered|gross weight|net weight|masse|gewicht|einwaage|probenmasse|poids|peso|masa|massa""",
    "delivered_mL": """
        volume|vol|sample volume|volume delivered|delivered volume|bottle volume|probenvolumen|volumen""",
    "note": """
        note|notes|comment|comments|remark|remarks|condition|observation|observations|description|bemerkung|bemerkungen
        |anmerkung|kommentar|remarque|remarques|commentaire|nota|notas|observaciones|opmerking""",
    "methods": """
        method|methods|method code|method codes|analysis|analyses|test|tests|test code|tests required|analysis required
        |analyses required|analysis requested|analyses requested|methode|methoden|verfahren|metodo|metodos|analisis""",
    "basis": """
        basis|reporting basis|report basis|reported on|report on|dry or fresh|bezug|base""",
    "limits": """
        limit|limits|limit set|guideline|guidelines|regulation|compare with|compared with|grenzwert
        |grenzwerte|limite|limites""",
    "sampled": """
        sampled|sampled on|sampled at|sample date|sample time|sampling date|date sampled|date of sampling|date taken
        |taken on|sampling time|sampling date and time|date and time sampled|date time sampled|collected|collected on
        |collection date|date collected|probenahme|probenahmedatum|entnahmedatum|date de prelevement|prelevement
        |fecha de muestreo|data di campionamento""",
    "density": "density|relative density|dichte|densite|densidad|masse volumique",
    "hazards": "hazard|hazards|hazardous|safety|danger|dangers|warning|warnings|gefahr|gefahren|peligro",
    "field_filtered": """
        filtered|field filtered|filtered in field|filtered in the field|filtered on site|site filtered|filtriert
        |filtre|filtrada""",
    "preservation": """
        preservation|preservative|preserved|preserved with|stabilised|stabilized|stabilisation|konservierung
        |conservation|preservacion|acidified""",
}

_COLUMNS = {word.strip(): column for column, words in _WORDS.items() for word in " ".join(words.split()).split("|")}


_ANY_QUANTITY = frozenset({"", "delivered", "amount", "quantity", "amount delivered", "quantity delivered", "menge"})
_BEFORE_A_UNIT = " ,;:/_([{."


@dataclass(frozen=True)
class Meant:
    """What a heading is taken for: a column of the delivery, or "" where it says nothing known; the unit it names."""

    column: str
    unit: str = ""


def meaning(heading: str) -> Meant:
    """Return the column and the unit that a heading names. Case, accents, underscores and points do not count.

    A unit stands at the end: "Mass (kg)", "mass, kg", "mass_kg", "Mass / kg", "Mass [kg]"; a unit alone is a quantity
    too. A unit of another kind than the words says nothing: that heading is asked about.
    """
    words, unit = _without_unit(heading)
    column = _COLUMNS.get(_plain(words), "")
    kind = _KINDS.get(unit, "")
    if kind and (column == kind or _plain(words) in _ANY_QUANTITY):
        return Meant(kind, unit)
    if kind and column in UNITS:
        return Meant("")
    return Meant(_COLUMNS.get(_plain(heading), ""))


def _without_unit(heading: str) -> tuple[str, str]:
    """The words of a heading and the unit at its end; "" where there is none. A stroke may part them (ISO 80000-1)."""
    text = unicodedata.normalize("NFKC", heading).strip().rstrip(")]} .").strip()
    folded = text.casefold()
    for spelling in _LONGEST_FIRST:
        words = text[: -len(spelling)]
        if folded.endswith(spelling) and (not words or words[-1] in _BEFORE_A_UNIT):
            return words, _SPELT[spelling]
    return heading, ""


def _plain(words: str) -> str:
    """Letters and digits only, without accents, in small letters, one space between words."""
    parted = unicodedata.normalize("NFKD", words.replace("'", "").replace("\N{RIGHT SINGLE QUOTATION MARK}", ""))
    bare = "".join(letter for letter in parted if not unicodedata.combining(letter)).casefold()
    return " ".join(re.sub(r"[^0-9a-z]+", " ", bare).split())
