"""What a certificate must say (ISO/IEC 17025:2017, 7.8.2.1): which item is empty, and where it is entered. Pure."""

from collections.abc import Iterator

from reports.document import CertificateDocument


def missing_items(document: CertificateDocument) -> tuple[str, ...]:
    """Return a sentence for each item that is empty, with its letter; () where the document may be issued."""
    return tuple(words for is_there, words in _items(document) if not is_there)


def _items(document: CertificateDocument) -> Iterator[tuple[object, str]]:
    """Each item, and what is said where it is missing."""
    yield document.title, "a: the title. The program gives it: report this."
    yield document.laboratory and document.address, "b: the laboratory’s name or address. Enter it with the laboratory."
    yield document.place_of_work, "c: the place of the work. Enter it with the laboratory."
    yield document.number, "d: the number of the certificate. The program gives it: report this."
    yield document.client, "e: the client’s name. Enter it with the client."
    yield (
        document.client_address,
        "e: how the client can be reached. Enter a recipient on the page of the client, with a name and an address.",
    )
    yield document.methods, "f: the method. Ask for one in the request."
    for method in document.methods:
        yield method.what_was_done, f"f: what was done by {method.code}. Enter its next version with it."
    yield document.description and document.rows, "g: what the items are. Log the samples at Reception."
    for row in document.rows:
        yield row.number and row.client_identification, f"g: the identification of {row.number}. Correct it there."
    yield document.received, "h: the day of receipt. Log the delivery with it."
    measured = any(cell.number or cell.limit for row in document.rows for cell in row.cells)
    yield document.measured or not measured, "i: the days of measurement. They come with the file of readings."
    yield document.issued, "j: the day of issue. The program gives it: report this."
    yield document.sampling, "k: how the samples were taken. Enter it with the delivery, or record the sampling."
    yield document.statements, "l: the standing statements. The program gives them: report this."
    yield any(cell.printed for row in document.rows for cell in row.cells), "m: results. Approve them in Review."
    for column in document.columns:
        yield column.unit, f"m: the unit of {column.formula} by {column.method}. Enter the next version with it."
    yield document.signatures, "o: who authorises it. Results are approved in Review by name."
    if document.conformity_text:
        yield document.uncertainty_text, "7.8.3.1 c: the uncertainty that statements of conformity stand on."
    for note in document.sampling_notes:
        yield note.place and note.plan, "7.8.5: place and plan of the sampling. Record the sampling with both."
        yield note.when, "7.8.5: the day of the sampling. Enter when the samples were taken, at Reception."
    for opinion in document.opinions:
        yield opinion.basis, "7.8.7: what an opinion stands on. State it again with its basis."
