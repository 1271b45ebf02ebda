"""The field of a signature, told of in the structure: who hears the file hears that it is signed.

ISO 14289-1, 7.18.1 and 7.18.4: a widget stands in a form of the structure; ISO 32000-1, 14.7.4.3 and 14.7.4.4: by a
reference to the object, and a key of its own in the tree of parents. Clauses from memory.
"""

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields

_NAME = generic.NameObject


def add_tagged_field(revision: IncrementalPdfFileWriter, wanted: fields.SigFieldSpec) -> None:
    """Add an empty field to sign in; the last thing in the structure of a tagged file says that it is there."""
    fields.append_signature_field(revision, wanted)
    held = revision.root["/AcroForm"]["/Fields"]
    field_at = held.raw_get(len(held) - 1)
    if "/StructTreeRoot" in revision.root:
        _tag(revision, field_at)


def _tag(revision: IncrementalPdfFileWriter, field_at: generic.IndirectObject) -> None:
    tree, field = revision.root["/StructTreeRoot"], field_at.get_object()
    document_at = tree["/K"].raw_get(0)
    document, key = document_at.get_object(), int(tree["/ParentTreeNextKey"])
    page_at = field.raw_get("/P")
    reference = {_NAME("/Type"): _NAME("/OBJR"), _NAME("/Obj"): field_at, _NAME("/Pg"): page_at}
    form = {
        _NAME("/Type"): _NAME("/StructElem"),
        _NAME("/S"): _NAME("/Form"),
        _NAME("/P"): document_at,
        _NAME("/K"): generic.DictionaryObject(reference),
        _NAME("/Alt"): field["/TU"],
    }
    form_at = revision.add_object(generic.DictionaryObject(form))
    document["/K"].append(form_at)
    tree["/ParentTree"]["/Nums"].extend([generic.NumberObject(key), form_at])
    tree[_NAME("/ParentTreeNextKey")] = generic.NumberObject(key + 1)
    field[_NAME("/StructParent")] = generic.NumberObject(key)
    for changed in (document["/K"], tree["/ParentTree"]["/Nums"], tree, field):
        revision.update_container(changed)
