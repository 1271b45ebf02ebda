"""For everybody: is this certificate genuine, and does it still stand? Says nothing of what it says."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from reports.queries.signing import keys_in_use, stamp_of
from reports.queries.verify import PublicState, by_code, by_file, normal_code
from reports.web.forms.verify import FileForm


@login_not_required
@never_cache
def verify(request: HttpRequest) -> HttpResponse:
    """Ask by the code on the certificate, or by its file."""
    if code := normal_code(request.GET.get("code", "")):
        return redirect(reverse("verify-code", args=[code]))
    form = FileForm(request.POST, request.FILES) if request.method == "POST" else None
    if form is None or not form.is_valid():
        return _page(request, None, form, "", 404 if request.GET.get("code") else 200)
    sha256 = form.cleaned_data["sha256"]
    return _page(request, by_file(sha256), form, sha256)


@login_not_required
@never_cache
def verify_code(request: HttpRequest, code: str) -> HttpResponse:
    """The certificate with a code; a file beside it is compared with what was issued, by its hash alone."""
    state = by_code(code)
    form = FileForm(request.POST, request.FILES) if request.method == "POST" else None
    sha256 = form.cleaned_data["sha256"] if form is not None and form.is_valid() else ""
    return _page(request, state, form, sha256, 200 if state else 404, code)


@login_not_required
def public_keys(request: HttpRequest) -> HttpResponse:
    """Public halves of the keys that the laboratory signs with, to check a certificate offline."""
    response = HttpResponse("".join(key.pem for key in keys_in_use()), content_type="application/x-pem-file")
    response["Content-Disposition"] = 'attachment; filename="signing-certificates.pem"'
    return response


def _page(
    request: HttpRequest,
    state: PublicState | None,
    form: FileForm | None,
    sha256: str,
    status: int = 200,
    code: str = "",
) -> HttpResponse:
    context = {
        "state": state, "form": form, "sha256": sha256, "kind": state.kind_of(sha256) if state and sha256 else "",
        "code": code or request.GET.get("code", ""), "title": "Is this certificate genuine?",
        "keys": keys_in_use(), "stamp": stamp_of(state.sha256["pdf"]) if state else None,
        "unknown": (state is None and bool(sha256 or code)) or status == 404,
    }  # fmt: skip
    response = render(request, "reports/web/verify.html", context, status=status)
    response["X-Robots-Tag"] = "noindex"
    return response
