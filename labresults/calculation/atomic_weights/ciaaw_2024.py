"""Abridged standard atomic weights, with their uncertainties, names, atomic numbers and CAS numbers.

Sources: Commission on Isotopic Abundances and Atomic Weights (CIAAW), Standard Atomic Weights 2021, abridged to five
figures; zirconium, gadolinium and lutetium as revised in 2024 (C&EN 102 (2024), issue 34). Symbols, names and numbers:
IUPAC periodic table (2022). CAS numbers: EPA Method 200.7 revision 4.4 (1994), section 1.1; those that it lacks are
from memory, with their check digits recomputed.
"""

from dataclasses import dataclass

EDITION = "CIAAW 2024, abridged"


@dataclass(frozen=True)
class Element:
    """symbol, name, atomic number, CAS number; standard atomic weight and its uncertainty [1]."""

    symbol: str
    name: str
    number: int
    cas: str
    weight: float
    uncertainty: float


ELEMENTS = {
    "H": Element("H", "Hydrogen", 1, "1333-74-0", 1.0080, 0.0002),
    "Li": Element("Li", "Lithium", 3, "7439-93-2", 6.94, 0.06),
    "Be": Element("Be", "Beryllium", 4, "7440-41-7", 9.0122, 0.0001),
    "B": Element("B", "Boron", 5, "7440-42-8", 10.81, 0.02),
    "C": Element("C", "Carbon", 6, "7440-44-0", 12.011, 0.002),
    "N": Element("N", "Nitrogen", 7, "7727-37-9", 14.007, 0.001),
    "O": Element("O", "Oxygen", 8, "7782-44-7", 15.999, 0.001),
    "F": Element("F", "Fluorine", 9, "7782-41-4", 18.998, 0.001),
    "Na": Element("Na", "Sodium", 11, "7440-23-5", 22.990, 0.001),
    "Mg": Element("Mg", "Magnesium", 12, "7439-95-4", 24.305, 0.002),
    "Al": Element("Al", "Aluminium", 13, "7429-90-5", 26.982, 0.001),
    "Si": Element("Si", "Silicon", 14, "7440-21-3", 28.085, 0.001),
    "P": Element("P", "Phosphorus", 15, "7723-14-0", 30.974, 0.001),
    "S": Element("S", "Sulfur", 16, "7704-34-9", 32.06, 0.02),
    "Cl": Element("Cl", "Chlorine", 17, "7782-50-5", 35.45, 0.01),
    "K": Element("K", "Potassium", 19, "7440-09-7", 39.098, 0.001),
    "Ca": Element("Ca", "Calcium", 20, "7440-70-2", 40.078, 0.004),
    "Sc": Element("Sc", "Scandium", 21, "7440-20-2", 44.956, 0.001),
    "Ti": Element("Ti", "Titanium", 22, "7440-32-6", 47.867, 0.001),
    "V": Element("V", "Vanadium", 23, "7440-62-2", 50.942, 0.001),
    "Cr": Element("Cr", "Chromium", 24, "7440-47-3", 51.996, 0.001),
    "Mn": Element("Mn", "Manganese", 25, "7439-96-5", 54.938, 0.001),
    "Fe": Element("Fe", "Iron", 26, "7439-89-6", 55.845, 0.002),
    "Co": Element("Co", "Cobalt", 27, "7440-48-4", 58.933, 0.001),
    "Ni": Element("Ni", "Nickel", 28, "7440-02-0", 58.693, 0.001),
    "Cu": Element("Cu", "Copper", 29, "7440-50-8", 63.546, 0.003),
    "Zn": Element("Zn", "Zinc", 30, "7440-66-6", 65.38, 0.02),
    "Ga": Element("Ga", "Gallium", 31, "7440-55-3", 69.723, 0.001),
    "Ge": Element("Ge", "Germanium", 32, "7440-56-4", 72.630, 0.008),
    "As": Element("As", "Arsenic", 33, "7440-38-2", 74.922, 0.001),
    "Se": Element("Se", "Selenium", 34, "7782-49-2", 78.971, 0.008),
    "Br": Element("Br", "Bromine", 35, "7726-95-6", 79.904, 0.003),
    "Rb": Element("Rb", "Rubidium", 37, "7440-17-7", 85.468, 0.001),
    "Sr": Element("Sr", "Strontium", 38, "7440-24-6", 87.62, 0.01),
    "Y": Element("Y", "Yttrium", 39, "7440-65-5", 88.906, 0.001),
    "Zr": Element("Zr", "Zirconium", 40, "7440-67-7", 91.222, 0.003),
    "Nb": Element("Nb", "Niobium", 41, "7440-03-1", 92.906, 0.001),
    "Mo": Element("Mo", "Molybdenum", 42, "7439-98-7", 95.95, 0.01),
    "Ru": Element("Ru", "Ruthenium", 44, "7440-18-8", 101.07, 0.02),
    "Rh": Element("Rh", "Rhodium", 45, "7440-16-6", 102.91, 0.01),
    "Pd": Element("Pd", "Palladium", 46, "7440-05-3", 106.42, 0.01),
    "Ag": Element("Ag", "Silver", 47, "7440-22-4", 107.87, 0.01),
    "Cd": Element("Cd", "Cadmium", 48, "7440-43-9", 112.41, 0.01),
    "In": Element("In", "Indium", 49, "7440-74-6", 114.82, 0.01),
    "Sn": Element("Sn", "Tin", 50, "7440-31-5", 118.71, 0.01),
    "Sb": Element("Sb", "Antimony", 51, "7440-36-0", 121.76, 0.01),
    "Te": Element("Te", "Tellurium", 52, "13494-80-9", 127.60, 0.03),
    "I": Element("I", "Iodine", 53, "7553-56-2", 126.90, 0.01),
    "Cs": Element("Cs", "Caesium", 55, "7440-46-2", 132.91, 0.01),
    "Ba": Element("Ba", "Barium", 56, "7440-39-3", 137.33, 0.01),
    "La": Element("La", "Lanthanum", 57, "7439-91-0", 138.91, 0.01),
    "Ce": Element("Ce", "Cerium", 58, "7440-45-1", 140.12, 0.01),
    "Pr": Element("Pr", "Praseodymium", 59, "7440-10-0", 140.91, 0.01),
    "Nd": Element("Nd", "Neodymium", 60, "7440-00-8", 144.24, 0.01),
    "Sm": Element("Sm", "Samarium", 62, "7440-19-9", 150.36, 0.02),
    "Eu": Element("Eu", "Europium", 63, "7440-53-1", 151.96, 0.01),
    "Gd": Element("Gd", "Gadolinium", 64, "7440-54-2", 157.249, 0.002),
    "Tb": Element("Tb", "Terbium", 65, "7440-27-9", 158.93, 0.01),
    "Dy": Element("Dy", "Dysprosium", 66, "7429-91-6", 162.50, 0.01),
    "Ho": Element("Ho", "Holmium", 67, "7440-60-0", 164.93, 0.01),
    "Er": Element("Er", "Erbium", 68, "7440-52-0", 167.26, 0.01),
    "Tm": Element("Tm", "Thulium", 69, "7440-30-4", 168.93, 0.01),
    "Yb": Element("Yb", "Ytterbium", 70, "7440-64-4", 173.05, 0.02),
    "Lu": Element("Lu", "Lutetium", 71, "7439-94-3", 174.96669, 0.00005),
    "Hf": Element("Hf", "Hafnium", 72, "7440-58-6", 178.49, 0.01),
    "Ta": Element("Ta", "Tantalum", 73, "7440-25-7", 180.95, 0.01),
    "W": Element("W", "Tungsten", 74, "7440-33-7", 183.84, 0.01),
    "Re": Element("Re", "Rhenium", 75, "7440-15-5", 186.21, 0.01),
    "Os": Element("Os", "Osmium", 76, "7440-04-2", 190.23, 0.03),
    "Ir": Element("Ir", "Iridium", 77, "7439-88-5", 192.22, 0.01),
    "Pt": Element("Pt", "Platinum", 78, "7440-06-4", 195.08, 0.02),
    "Au": Element("Au", "Gold", 79, "7440-57-5", 196.97, 0.01),
    "Hg": Element("Hg", "Mercury", 80, "7439-97-6", 200.59, 0.01),
    "Tl": Element("Tl", "Thallium", 81, "7440-28-0", 204.38, 0.01),
    "Pb": Element("Pb", "Lead", 82, "7439-92-1", 207.2, 1.1),
    "Bi": Element("Bi", "Bismuth", 83, "7440-69-9", 208.98, 0.01),
    "Th": Element("Th", "Thorium", 90, "7440-29-1", 232.04, 0.01),
    "U": Element("U", "Uranium", 92, "7440-61-1", 238.03, 0.01),
}
