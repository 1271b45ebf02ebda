"""How a text table seems to be written: its encoding, what parts its cells, and its decimal sign; with the evidence."""

import codecs
import re
from collections import Counter
from collections.abc import Sequence

from labresults.readers.delimited import first_lines, rows_of
from labresults.readers.layout import SNIFF
from labresults.readers.recognised import DELIMITERS_BY_WORD, THOUSANDS_BY_WORD, Seen

SEARCHED = 200
"""Rows looked at: titles and many positions, and quick for the largest file."""

_NUMBER = re.compile(r"[+-]?[0-9][0-9.,'\u2019 \u00a0\u202f]*(?:[eE][+-]?[0-9]+)?")


def seen_encoding(content: bytes) -> Seen:
    """Return the encoding that the bytes seem to have: a mark, zero bytes and what is not UTF-8 tell."""
    marks = ((codecs.BOM_UTF8, "UTF-8"), (codecs.BOM_UTF16_LE, "UTF-16"), (codecs.BOM_UTF16_BE, "UTF-16"))
    for mark, name in marks:
        if content.startswith(mark):
            return Seen(SNIFF, f"the file begins with the mark of {name}")
    start = content[:4000]
    if b"\0" in start:
        little = start[1::2].count(0) >= start[0::2].count(0)
        evidence = f"every {'second' if little else 'first'} byte of two is zero, and there is no mark"
        return Seen("utf-16-le" if little else "utf-16-be", evidence, sure=False)
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as problem:
        shown = content[problem.start : problem.start + 1].decode("cp1252", "replace")
        evidence = f"the byte at place {problem.start} is not UTF-8; in cp1252 it is “{shown}”"
        return Seen("cp1252", evidence, sure=False)
    return Seen(SNIFF, "all of it is UTF-8" if not content.isascii() else "plain letters only, the same in UTF-8")


def seen_delimiter(text: str) -> Seen:
    """Return what seems to part the cells: the sign by which most rows have as many cells as each other."""
    best, most, width = "", 1, 1
    for word in ("tab", "semicolon", "upright stroke", "comma"):  # a comma may be in numbers, so it comes last
        rows, _ = rows_of(text, DELIMITERS_BY_WORD[word], SEARCHED)
        counted = Counter(len(row.cells) for row in rows if len(row.cells) > 1)
        if not counted:
            continue
        cells, count = max(counted.items(), key=lambda pair: (pair[1], pair[0]))
        if count > most and (not best or count > most * 1.2):
            best, most, width = word, count, cells
    if best:
        return Seen(best, f"parted so, {most} of the first rows have {width} cells")
    starts = fixed_starts(text)
    if len(starts) > 1:
        return Seen("fixed width", f"columns begin at the places {', '.join(map(str, starts))}", sure=False)
    return Seen("comma", "nothing seems to part the cells", sure=False)


def fixed_starts(text: str) -> tuple[int, ...]:
    """Return the places, from 1, where columns of fixed width seem to begin: behind what is blank in every line.

    Two blanks part columns, or one where two never do; titles above the table are passed over.
    """
    lines = [line for line in first_lines(text, SEARCHED) if line.strip()]
    for blanks in (2, 1):
        found = [_starts(lines[above:], blanks) for above in range(min(20, max(len(lines) - 1, 0)))]
        best = max(found, key=len, default=())
        if len(best) > 1:
            return best
    return ()


def _starts(lines: Sequence[str], blanks: int) -> tuple[int, ...]:
    width = max(map(len, lines))
    filled = [any(at < len(line) and not line[at].isspace() for line in lines) for at in range(width)]
    first = filled.index(True) if True in filled else 0
    later = [at + 1 for at in range(first + 1, width) if filled[at] and not any(filled[max(at - blanks, 0) : at])]
    return (1, *later)


def seen_decimals(texts: Sequence[str], delimiter: str = "") -> tuple[Seen, Seen, str]:
    """Return the decimal sign and the thousands sign that numbers seem to have, and a doubt in words or "".

    A sign with other than three digits behind it cannot part thousands; one that comes twice in a number does. Where
    neither is to be seen, nothing tells, and the doubt says so.
    """
    numbers = [text.strip() for text in texts if _NUMBER.fullmatch(text.strip())]
    said = {sign: next((text for text in numbers if _is_decimal(text, sign)), "") for sign in (".", ",")}
    thousands = Seen(_thousands(numbers), "as the numbers show")
    if said["."] and said[","]:
        doubt = f"“{said['.']}” has a decimal point and “{said[',']}” a decimal comma: look at the file."
        return Seen("point", "both signs are there", sure=False), Seen("none", "", sure=False), doubt
    for word, sign in (("point", "."), ("comma", ",")):
        if said[sign]:
            evidence = f"in “{said[sign]}” the {word} can only be the decimal sign"
            none = Seen("none", "nothing parts thousands")
            return Seen(word, evidence), none if thousands.value == word else thousands, ""
    shown = next((text for text in numbers if _can_be_both(text)), "")
    if not shown:
        return Seen("point", "no number has a decimal sign"), thousands, ""
    plain = shown.replace(",", "").replace(".", "")
    doubt = (
        f"“{shown}” can be {shown.replace(',', '.')} or {plain}: every such number has three digits behind the sign."
    )
    guess = "comma" if "," in shown and delimiter != "," else "point"
    return (
        Seen(guess, "nothing tells it from a sign between thousands", sure=False),
        Seen("none", "", sure=False),
        doubt,
    )


def _is_decimal(text: str, sign: str) -> bool:
    """Whether a sign can only be the decimal one: it comes once, behind any other, without three digits or with 0."""
    other = "," if sign == "." else "."
    if text.count(sign) != 1 or (other in text and text.rfind(other) > text.find(sign)):
        return False
    whole, _, rest = re.sub(r"[eE].*", "", text).partition(sign)
    if other in text:
        return True
    return len(rest) != 3 or not re.fullmatch(r"[+-]?[1-9][0-9]{0,2}", whole)


def _can_be_both(text: str) -> bool:
    return bool(re.fullmatch(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}", text))


def _thousands(numbers: Sequence[str]) -> str:
    grouped = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:([.,'\u2019 \u00a0\u202f])[0-9]{3})(?:\1[0-9]{3})*(?:[.,][0-9]*)?")
    counted: Counter[str] = Counter()
    for text in numbers:
        found = grouped.fullmatch(text)
        if found and (len(re.findall(r"[^0-9eE+-]", text)) > 1 or found[1] not in ".,"):
            counted[found[1]] += 1
    sign = counted.most_common(1)[0][0] if counted else ""
    return next((word for word, of in THOUSANDS_BY_WORD.items() if of == sign), "space" if sign else "none")
