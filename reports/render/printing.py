"""One way from a template to PDF bytes: no network, no file outside the print folder, the same bytes every time."""

import atexit
import logging
import re
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

from django.template import Context, Engine

PRINT_FOLDER = Path(__file__).resolve().parents[1] / "static" / "reports"
TEMPLATE_FOLDER = Path(__file__).resolve().parents[1] / "templates"
_TYPES = {".css": "text/css; charset=utf-8", ".woff2": "font/woff2"}
_ENGINE = Engine(dirs=[str(TEMPLATE_FOLDER)], autoescape=True)
_STYLE = re.compile(r'<link rel="stylesheet" href="([a-z-]+\.css)">')
_ONE_AT_A_TIME = threading.RLock()
"""Style sheets and faces are read once for a process, and Pango's map of faces is for one thread at a time."""
MM_PER_PX = 25.4 / 96


class PangoMissing(RuntimeError):
    """The library that sets type is not on this machine."""

    def __init__(self) -> None:
        super().__init__(
            "PDF files need the Pango library: install libpango-1.0-0, libpangoft2-1.0-0 and libharfbuzz-subset0 "
            "on Debian or Ubuntu, or pango with Homebrew or on Fedora, and try again."
        )


class CannotPrint(ValueError):
    """A sign of the document is in no font at hand: the paper would show an empty box where the sign should stand."""

    def __init__(self, signs: list[str]) -> None:
        self.signs = signs
        named = ", ".join(f"{sign} (U+{ord(sign):04X})" for sign in signs)
        super().__init__(f"No font on this machine has {named}. Install a font that has it, then print again.")


def fill(template: str, context: Mapping[str, object]) -> str:
    """Return the HTML of a template of `reports/templates`. Every value is escaped; numbers are not localised."""
    return str(_ENGINE.get_template(template).render(Context(dict(context), use_l10n=False, use_tz=False)))


class Pages:
    """Pages laid out: where each marked place came to stand, and their PDF."""

    def __init__(self, laid_out: Any) -> None:
        self._laid_out = laid_out

    @property
    def count(self) -> int:
        """How many pages there are."""
        return len(self._laid_out.pages)

    def places(self) -> dict[str, tuple[int, float]]:
        """Return page (from 0) and distance from its upper edge, mm, of the top of each element with an `id`."""
        return {
            name: (number, box[1] * MM_PER_PX)
            for number, page in enumerate(self._laid_out.pages)
            for name, box in page.anchors.items()
        }

    def pdf(self, identifier: bytes, variant: str | None = None) -> bytes:
        """Return the tagged PDF; `identifier` (16 bytes, from the content) stands in for a random file identifier.

        variant: an archival one such as "pdf/a-3u". Raises CannotPrint if a sign has no glyph.
        """
        with _ONE_AT_A_TIME, _missing_signs() as missing:
            pdf: bytes = self._laid_out.write_pdf(pdf_identifier=identifier, pdf_tags=True, pdf_variant=variant)
        if missing:
            raise CannotPrint(sorted(set(missing)))
        return pdf


def lay_out(html: str, extra_style: str = "") -> Pages:
    """Lay `html` out on pages, styled by the sheet of the print folder that it links to, and by `extra_style`.

    Raises PangoMissing if Pango cannot be loaded, ValueError if the page asks for a file outside the print folder.
    """
    weasyprint = _weasyprint()
    fetcher = _print_folder_only()
    with _ONE_AT_A_TIME:
        named = _STYLE.search(html)
        style, faces = _style(named[1]) if named else (None, None)
        styles = [style] if style else []
        if extra_style:
            styles.append(weasyprint.CSS(string=extra_style, font_config=faces, url_fetcher=fetcher))
        page = weasyprint.HTML(string=_STYLE.sub("", html), base_url=PRINT_FOLDER.as_uri() + "/", url_fetcher=fetcher)
        try:
            return Pages(page.render(font_config=faces, stylesheets=styles))
        except weasyprint.urls.FatalURLFetchingError as error:  # no Exception, so that nothing swallows it on its way
            raise ValueError(str(error)) from error


def pdf_of(html: str, identifier: bytes) -> bytes:
    """Return the PDF of `html`, tagged. Raises as `lay_out` and `Pages.pdf` do."""
    return lay_out(html).pdf(identifier)


@cache
def _style(name: str) -> tuple[Any, Any]:
    """Read a style sheet of the print folder, and the faces that it asks for: half of the time of a one-page paper."""
    weasyprint = _weasyprint()
    from weasyprint.text.fonts import FontConfiguration  # noqa: PLC0415

    faces = FontConfiguration()
    return weasyprint.CSS(str(PRINT_FOLDER / name), font_config=faces, url_fetcher=_print_folder_only()), faces


def require_pango() -> None:
    """Raise PangoMissing now, before any work is done, where no certificate could be drawn."""
    _weasyprint()


def _weasyprint() -> Any:
    """Import WeasyPrint late: it loads Pango, and a machine without Pango can still do all else."""
    try:
        import weasyprint  # noqa: PLC0415
    except OSError as error:
        raise PangoMissing from error
    return weasyprint


def _print_folder_only() -> Any:
    """A fetcher that opens files of the print folder and refuses all else, loudly."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse  # noqa: PLC0415

    class PrintFolderOnly(URLFetcher):  # type: ignore[misc, unused-ignore]
        def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> Any:
            parts = urlsplit(url)
            path = Path(url2pathname(parts.path)).resolve()
            if parts.scheme != "file" or not path.is_relative_to(PRINT_FOLDER) or not path.is_file():
                raise FatalURLFetchingError(f"A printed page may use files of {PRINT_FOLDER.name} only, not {url}")
            return URLFetcherResponse(url, path.read_bytes(), {"Content-Type": _TYPES[path.suffix]})

    return PrintFolderOnly()


@contextmanager
def _missing_signs() -> Iterator[list[str]]:
    """Collect the signs that WeasyPrint could not set; it only logs them."""
    missing: list[str] = []
    thread = threading.get_ident()  # another thread may be printing another page

    class Collect(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if record.thread == thread and str(record.msg).startswith(".notdef") and isinstance(record.args, tuple):
                missing.append(str(record.args[0]))

    handler, logger = Collect(logging.WARNING), logging.getLogger("weasyprint")
    logger.addHandler(handler)
    try:
        yield missing
    finally:
        logger.removeHandler(handler)


atexit.register(_style.cache_clear)  # faces must go before the library that made them
