"""Reporting rules: the list, one rule set and its next version, choices, and results as they are printed by them."""

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from labresults.acts import BadInput
from labresults.queries.samples import submission as find_submission
from labresults.terms import Station
from labresults.web.acting import answer, attempt, say_errors
from reports.actions.rule_sets import choose_rule_set, save_rule_set
from reports.queries import rule_sets as queries
from reports.queries.print_previews import print_preview
from reports.queries.rule_drafts import drafted, typed
from reports.web.forms.rule_sets import ChoiceForm, RuleSetForm

MOST_DIGITS = 4


def rule_sets(request: HttpRequest) -> HttpResponse:
    """Every rule set, in words, and for what it is chosen."""
    context = {"lines": queries.rule_set_lines(), "choice": ChoiceForm(), "here": Station.CERTIFICATES}
    return render(request, "reports/web/rule_sets.html", context)


@require_POST
def choose(request: HttpRequest) -> HttpResponse:
    """Choose a rule set for a submission, a client, a method, or everything."""
    done = partial(choose_rule_set, by=request.user, at=timezone.now())
    return answer(request, ChoiceForm(request.POST), lambda given: done(**given), "It is chosen.", "rule-sets")


def rule_set(request: HttpRequest, name: str) -> HttpResponse:
    """One rule set: every setting, what it prints, its versions, and the form that makes the next one."""
    versions = queries.versions(name)
    asked = request.GET.get("version", "")
    shown = next((row for row in versions if str(row.version) == asked), versions[0])
    rules = queries.rules_of(shown)
    if request.method == "POST":
        return _save(request, name)
    context = {
        "name": name, "versions": versions, "shown": shown, "settings": queries.settings_in_words(rules),
        "codes": queries.codes_in_words(rules), "examples": queries.worked_table(rules),
        "form": RuleSetForm(initial=typed(rules)), "here": Station.CERTIFICATES,
    }  # fmt: skip
    return render(request, "reports/web/rule_set.html", context)


def _save(request: HttpRequest, name: str) -> HttpResponse:
    form, newest = RuleSetForm(request.POST), queries.versions(name)[0]
    if not form.is_valid():
        say_errors(request, form)
        return redirect("rule-set", name)

    def done() -> object:
        rules = drafted(form.cleaned_data, queries.rules_of(newest), name, newest.version + 1)
        reason = form.cleaned_data["reason"]
        return save_rule_set(by=request.user, at=timezone.now(), reason=reason, rule_set=rules)

    attempt(request, done, "{} is saved; certificates that are issued from now on use it.")
    return redirect("rule-set", name)


@require_POST
def strings(request: HttpRequest, name: str) -> HttpResponse:
    """What the rule set that is being typed prints; a part of its page."""
    form, newest = RuleSetForm(request.POST), queries.versions(name)[0]
    context: dict[str, object] = {"problem": "", "form": form}
    try:
        if form.is_valid():
            rules = drafted(form.cleaned_data, queries.rules_of(newest), name, newest.version + 1)
            context["examples"] = queries.worked_table(rules)
    except BadInput as problem:
        context["problem"] = str(problem)
    return render(request, "reports/web/rule_strings.html", context)


def printing(request: HttpRequest, number: str) -> HttpResponse:
    """Results of a submission: value, rule and string side by side, and what other rules would print."""
    asked = request.GET.get("page", "")
    page = max(1, int(asked)) if asked.isascii() and asked.isdigit() and len(asked) <= MOST_DIGITS else 1
    preview = print_preview(find_submission(number), request.GET.get("other", ""), page)
    return render(request, "reports/web/printing.html", {"preview": preview, "here": Station.CERTIFICATES})
