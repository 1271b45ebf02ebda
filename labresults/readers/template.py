"""How a heading names a line: a template such as "{element} {wavelength}" or "{element}_{wavelength} nm"."""

import string
from collections.abc import Sequence
from dataclasses import dataclass

_ELEMENT, _WAVELENGTH = "{element}", "{wavelength}"
_LETTERS = frozenset(string.ascii_letters)


@dataclass(frozen=True)
class LineTemplate:
    """The words before, between and after element and wavelength, to the letter."""

    before: str
    between: str
    after: str

    @classmethod
    def parse(cls, template: str) -> "LineTemplate":
        """Raises ValueError unless the template names {element}, then {wavelength}, once each."""
        before, found, rest = template.partition(_ELEMENT)
        between, also_found, after = rest.partition(_WAVELENGTH)
        if not (found and also_found) or "{" in before + between + after:
            raise ValueError(f"the template “{template}” must have {_ELEMENT} and then {_WAVELENGTH}, once each")
        return cls(before, between, after)

    def line(self, heading: str) -> str | None:
        """Return "Cu 324.754" for a heading that fits, else None. The wavelength stays as written, with a point."""
        heading = heading.strip()
        if not (heading.startswith(self.before) and heading.endswith(self.after)):
            return None
        core = heading[len(self.before) : len(heading) - len(self.after)]
        size = 2 if core[1:2] in _LETTERS and core[1:2].islower() else 1
        element, rest = core[:size], core[size:]
        wavelength = rest[len(self.between) :].replace(",", ".")
        if not rest.startswith(self.between) or not _is_symbol(element) or not _is_wavelength(wavelength):
            return None
        return f"{element} {wavelength}"


class LineNames:
    """Names of lines as a file writes them: those that a layout lists, then those that fit its template."""

    def __init__(self, template: str, listed: Sequence[tuple[str, str]]) -> None:
        self._template = LineTemplate.parse(template)
        self._known: dict[str, str | None] = dict(listed)

    def line(self, text: str) -> str | None:
        """Return the line that `text` names, or None."""
        if text not in self._known:
            fit = self._template.line(text)
            self._known[text] = fit and self._known.get(fit, fit)
        return self._known[text]


def _is_symbol(text: str) -> bool:
    return bool(text) and set(text) <= _LETTERS and text[0].isupper() and text[1:] == text[1:].lower()


def _is_wavelength(text: str) -> bool:
    whole, _, part = text.partition(".")
    return whole.isascii() and whole.isdigit() and (not part or (part.isascii() and part.isdigit()))
