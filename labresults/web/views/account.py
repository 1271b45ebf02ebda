"""Coming in and going out: name and password, and the six digits of a second factor where one is on."""

from functools import partial

from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from labresults.actions.given_passwords import give_new_password
from labresults.actions.people import change_password
from labresults.actions.second_factor import sign_in_with_code
from labresults.acts import NotAuthorised
from labresults.queries.people import active_person, others_who_sign_in
from labresults.queries.second_factor import has_second_factor
from labresults.web import attempts
from labresults.web.acting import attempt
from labresults.web.forms.account import ChangePasswordForm, CodeForm, GivePasswordForm, SignInForm
from labresults.web.shared import for_clients

_CHANGED = "Your password is changed. Whoever else was signed in with your name is not any more."
_HALF_IN = "signing-in"
_BACKEND = "labresults.web.who.WithRoles"
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
            response = super().form_valid(form)
            attempts.remember(self.request, response, person.username)
            return response
        self.request.session.cycle_key()
        knows = [person.pk, timezone.now().timestamp(), self.get_redirect_url(), person.get_session_auth_hash()]
        self.request.session[_HALF_IN] = knows
        return redirect("sign-in-code")


sign_in = SignIn.as_view()
sign_out = login_not_required(LogoutView.as_view(http_method_names=["post", "options"]))  # a client's people too


@login_not_required
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The second step: six digits from the device. Without a first step, or too late, back to it."""
    pk, since, to, knows = request.session.get(_HALF_IN, [0, 0.0, "", ""])
    person = active_person(pk)
    in_time = 0 <= timezone.now().timestamp() - since <= MOST_S
    if person is None or not in_time or knows != person.get_session_auth_hash():
        request.session.pop(_HALF_IN, None)
        return redirect("sign-in")
    form = CodeForm(request.POST or None)
    if form.is_valid() and (trouble := _trouble(request, person, form.given)):
        form.add_error(None, trouble)
    elif form.is_valid():
        login(request, person, backend=_BACKEND)
        request.session.pop(_HALF_IN, None)
        response = redirect(to if url_has_allowed_host_and_scheme(to, allowed_hosts=None) else "today")
        attempts.remember(request, response, person.username)
        return response
    return render(request, "labresults/sign_in_code.html", {"form": form, "person": person})


@for_clients
@sensitive_post_parameters()
def password(request: HttpRequest) -> HttpResponse:
    """Change one's own password: everybody else who is signed in with this name must sign in anew."""
    form = ChangePasswordForm(request.POST or None)
    was_given = request.user.password_is_given
    if form.is_valid():
        given = {name: form.cleaned_data[name] for name in ("password", "new_password")}
        done = partial(change_password, by=request.user, at=timezone.now(), **given)
        if attempt(request, done, _CHANGED):
            update_session_auth_hash(request, request.user)
            return redirect("today" if was_given else "second-factor")
    context = {"form": form, "was_given": was_given, "title": "Your password", "here": "account"}
    return render(request, "labresults/password.html", context)


@never_cache
@sensitive_post_parameters()
def new_password(request: HttpRequest) -> HttpResponse:
    """A password for somebody who forgot theirs, shown this once."""
    people = others_who_sign_in(request.user)
    form = GivePasswordForm(request.POST or None, people=people)
    given = None
    if form.is_valid():
        done = partial(give_new_password, by=request.user, at=timezone.now(), **form.cleaned_data)
        given = attempt(request, done, "{} has a new password.")
    context = {"form": form, "given": given, "has_factor": given and has_second_factor(given.person), "here": "people"}
    return render(request, "labresults/new_password.html", context)


def _trouble(request: HttpRequest, person: object, code: str) -> str:
    """Why the code is not taken; "" where it was."""
    device = attempts.device_of(request, str(getattr(person, "username", "")))
    try:
        sign_in_with_code(by=person, at=timezone.now(), code=code, device=device)
    except NotAuthorised as refusal:
        return str(refusal)
    return ""
