"""How a heading names a line: a template such as "{element} {wavelength}" or "{element}_{wavelength} #{n} ({unit})"."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_ELEMENT = r"(?P<element>[A-Z](?:[a-z]|(?![a-z])))"
_WAVELENGTH = r"(?P<wavelength>[0-9]+(?:[.,][0-9]*)?)"
_PARTS = {"{n}": r"(?P<n>[0-9]{1,4})", "{unit}": r"(?P<unit>[^\s#()\[\]][^#()\[\]]*)"}
_TOKEN = re.compile(r"(\{[a-z]*\})")


@dataclass(frozen=True)
class HeadingFit:
    """What a heading says: its line, the number of the replicate (0: none) and the unit ("": none)."""

    line: str
    n: int = 0
    unit: str = ""


class LineTemplate:
    """The words before, between and after element and wavelength, to the letter."""

    def __init__(self, template: str, names: Iterable[str] = ()) -> None:
        """names: other words for a line, which may stand where element and wavelength do.

        Raises ValueError unless the template names {element}, then {wavelength}, once each, and {n} and {unit} at most
        once.
        """
        before, found, rest = template.partition("{element}")
        between, also_found, after = rest.partition("{wavelength}")
        tokens = _TOKEN.findall(before + after)
        wrong = "{" in between or set(tokens) - set(_PARTS) or len(set(tokens)) < len(tokens)
        if not (found and also_found) or wrong or "{" in _TOKEN.sub("", before + after):
            raise ValueError(f"the template “{template}” must have {{element}} and then {{wavelength}}, once each")
        core = _ELEMENT + re.escape(between) + _WAVELENGTH
        listed = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True))
        core = f"(?:(?P<name>{listed})|{core})" if listed else core
        self._pattern = re.compile(_escaped(before) + core + _escaped(after))

    @classmethod
    def parse(cls, template: str) -> "LineTemplate":
        """Return the template. Raises ValueError, as the class does."""
        return cls(template)

    def line(self, heading: str) -> str | None:
        """Return "Cu 324.754" for a heading that fits, else None. The wavelength stays as written, with a point."""
        fit = self.fit(heading)
        return fit.line if fit else None

    def fit(self, heading: str) -> HeadingFit | None:
        """Return all that a heading says, or None where it does not fit; a listed name stands for its line."""
        found = self._pattern.fullmatch(heading.strip())
        if not found:
            return None
        said = found.groupdict()
        line = said.get("name") or f"{said['element']} {said['wavelength'].replace(',', '.')}"
        return HeadingFit(line, int(said.get("n") or 0), (said.get("unit") or "").strip())


class LineNames:
    """Names of lines as a file writes them: those that a layout lists, then those that fit its template."""

    def __init__(self, template: str, listed: Sequence[tuple[str, str]]) -> None:
        self.template = template
        self._listed = dict(listed)
        self._template = LineTemplate(template, self._listed)
        self._known: dict[str, HeadingFit | None] = {name: HeadingFit(line) for name, line in listed}

    def line(self, text: str) -> str | None:
        """Return the line that `text` names, or None."""
        fit = self.fit(text)
        return fit.line if fit else None

    def fit(self, text: str) -> HeadingFit | None:
        """Return all that `text` says of a line, or None."""
        if text not in self._known:
            fit = self._template.fit(text)
            self._known[text] = fit and HeadingFit(self._listed.get(fit.line, fit.line), fit.n, fit.unit)
        return self._known[text]


def _escaped(words: str) -> str:
    return "".join(_PARTS.get(part) or re.escape(part) for part in _TOKEN.split(words))
