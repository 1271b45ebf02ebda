"""The chemical elements that plasma emission can determine.

Source of symbols, names and numbers: IUPAC periodic table (2022); CAS numbers: EPA Method 200.7 revision 4.4 (1994),
section 1.1, and the check digit rule. Written out here,
so that every version makes the same rows.
"""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

ELEMENTS = [
    (3, "Li", "Lithium", "7439-93-2"),
    (4, "Be", "Beryllium", "7440-41-7"),
    (5, "B", "Boron", "7440-42-8"),
    (11, "Na", "Sodium", "7440-23-5"),
    (12, "Mg", "Magnesium", "7439-95-4"),
    (13, "Al", "Aluminium", "7429-90-5"),
    (14, "Si", "Silicon", "7440-21-3"),
    (15, "P", "Phosphorus", "7723-14-0"),
    (16, "S", "Sulfur", "7704-34-9"),
    (19, "K", "Potassium", "7440-09-7"),
    (20, "Ca", "Calcium", "7440-70-2"),
    (21, "Sc", "Scandium", "7440-20-2"),
    (22, "Ti", "Titanium", "7440-32-6"),
    (23, "V", "Vanadium", "7440-62-2"),
    (24, "Cr", "Chromium", "7440-47-3"),
    (25, "Mn", "Manganese", "7439-96-5"),
    (26, "Fe", "Iron", "7439-89-6"),
    (27, "Co", "Cobalt", "7440-48-4"),
    (28, "Ni", "Nickel", "7440-02-0"),
    (29, "Cu", "Copper", "7440-50-8"),
    (30, "Zn", "Zinc", "7440-66-6"),
    (31, "Ga", "Gallium", "7440-55-3"),
    (32, "Ge", "Germanium", "7440-56-4"),
    (33, "As", "Arsenic", "7440-38-2"),
    (34, "Se", "Selenium", "7782-49-2"),
    (37, "Rb", "Rubidium", "7440-17-7"),
    (38, "Sr", "Strontium", "7440-24-6"),
    (39, "Y", "Yttrium", "7440-65-5"),
    (40, "Zr", "Zirconium", "7440-67-7"),
    (41, "Nb", "Niobium", "7440-03-1"),
    (42, "Mo", "Molybdenum", "7439-98-7"),
    (44, "Ru", "Ruthenium", "7440-18-8"),
    (45, "Rh", "Rhodium", "7440-16-6"),
    (46, "Pd", "Palladium", "7440-05-3"),
    (47, "Ag", "Silver", "7440-22-4"),
    (48, "Cd", "Cadmium", "7440-43-9"),
    (49, "In", "Indium", "7440-74-6"),
    (50, "Sn", "Tin", "7440-31-5"),
    (51, "Sb", "Antimony", "7440-36-0"),
    (52, "Te", "Tellurium", "13494-80-9"),
    (55, "Cs", "Caesium", "7440-46-2"),
    (56, "Ba", "Barium", "7440-39-3"),
    (57, "La", "Lanthanum", "7439-91-0"),
    (58, "Ce", "Cerium", "7440-45-1"),
    (72, "Hf", "Hafnium", "7440-58-6"),
    (73, "Ta", "Tantalum", "7440-25-7"),
    (74, "W", "Tungsten", "7440-33-7"),
    (75, "Re", "Rhenium", "7440-15-5"),
    (77, "Ir", "Iridium", "7439-88-5"),
    (78, "Pt", "Platinum", "7440-06-4"),
    (79, "Au", "Gold", "7440-57-5"),
    (80, "Hg", "Mercury", "7439-97-6"),
    (81, "Tl", "Thallium", "7440-28-0"),
    (82, "Pb", "Lead", "7439-92-1"),
    (83, "Bi", "Bismuth", "7440-69-9"),
    (90, "Th", "Thorium", "7440-29-1"),
    (92, "U", "Uranium", "7440-61-1"),
]


def add_elements(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    element = apps.get_model("labresults", "Element")
    element.objects.using(editor.connection.alias).bulk_create(
        element(number=number, symbol=symbol, name=name, cas=cas) for number, symbol, name, cas in ELEMENTS
    )


class Migration(migrations.Migration):
    dependencies = [("labresults", "0001_initial")]
    operations = [migrations.RunPython(add_elements, migrations.RunPython.noop)]
