"""Papers that are no certificates: tagged, titled, in a language, with their fonts, and fit to be kept as PDF/A-3u."""

import re
from html import unescape
from io import BytesIO

import pikepdf

from reports.render.archive import About, archive
from reports.render.printing import lay_out
from reports.render.tagging import Tags, set_furniture_apart, tidy

_TITLE = re.compile(r"<title>([^<]*)</title>")
_AUTHOR = re.compile(r'<meta name="author" content="([^"]*)">')


def kept_pdf(html: str, identifier: bytes) -> bytes:
    """Return the PDF of a page of `reports/templates`, which says its title and its author in its head.

    identifier: 16 bytes made of the content. Raises PangoMissing, CannotPrint and ValueError as printing does.
    """
    with pikepdf.open(BytesIO(lay_out(html).pdf(identifier, "pdf/a-3u"))) as pdf:
        tags = Tags(pdf)
        tidy(tags)
        set_furniture_apart(tags)
        tags.close()
        title, author = _said(_TITLE, html), _said(_AUTHOR, html)
        return archive(pdf, About(title, author, f"{title}, {author}", title))


def _said(what: re.Pattern[str], html: str) -> str:
    found = what.search(html)
    return unescape(found[1]).strip() if found else ""
