"""Coming in and going out: name and password, and the six digits of a second factor where one is on."""

from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from labresults.actions.second_factor import sign_in_with_code
from labresults.acts import NotAuthorised
from labresults.queries.people import active_person
from labresults.queries.second_factor import has_second_factor
from labresults.web import attempts
from labresults.web.forms.account import CodeForm, SignInForm

_HALF_IN = "signing-in"
_BACKEND = "django.contrib.auth.backends.ModelBackend"
MOST_S = 300
"""So long after the password the six digits are waited for."""


class SignIn(LoginView):
    """Django's own sign-in, which goes on to the six digits where the person has a second factor."""

    template_name = "labresults/sign_in.html"
    redirect_authenticated_user = True
    authentication_form = SignInForm

    def form_valid(self, form: SignInForm) -> HttpResponse:
        person = form.get_user()
        if not has_second_factor(person):
            attempts.succeeded(person.username)
            return super().form_valid(form)
        self.request.session.cycle_key()
        self.request.session[_HALF_IN] = [person.pk, timezone.now().timestamp(), self.get_redirect_url()]
        return redirect("sign-in-code")


sign_in = SignIn.as_view()
sign_out = login_not_required(LogoutView.as_view(http_method_names=["post", "options"]))  # a client's people too


@login_not_required
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The second step: six digits from the device. Without a first step, or too late, back to it."""
    pk, since, to = request.session.get(_HALF_IN, [0, 0.0, ""])
    person = active_person(pk)
    now = timezone.now()
    if person is None or not 0 <= now.timestamp() - since <= MOST_S:
        request.session.pop(_HALF_IN, None)
        return redirect("sign-in")
    form = CodeForm(request.POST or None)
    if form.is_valid() and (trouble := _trouble(person, form.cleaned_data["code"])):
        form.add_error("code", trouble)
    elif form.is_valid():
        login(request, person, backend=_BACKEND)
        request.session.pop(_HALF_IN, None)
        return redirect(to if url_has_allowed_host_and_scheme(to, allowed_hosts=None) else "today")
    return render(request, "labresults/sign_in_code.html", {"form": form, "person": person})


def _trouble(person: object, code: str) -> str:
    """Why the code is not taken; "" where it was."""
    name, now = str(getattr(person, "username", "")), timezone.now()
    if attempts.is_stopped(name, now):
        return attempts.TOO_MANY
    try:
        sign_in_with_code(by=person, at=now, code=code)
    except NotAuthorised as refusal:
        attempts.failed(name, now)
        return str(refusal)
    attempts.succeeded(name)
    return ""
