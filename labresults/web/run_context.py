"""What the templates of a run's page are given: its parts, each no larger than a page may be."""

from typing import Any

from labresults.queries.ore_grade import richer_than_allowed
from labresults.queries.repeat_groups import gathered
from labresults.queries.run_answers import answers
from labresults.queries.run_failures import disagreements, failure_groups, shown_curves
from labresults.queries.run_pages import RunPage
from labresults.queries.run_pictures import RunPictures
from labresults.queries.run_positions import curve_points, parts_of, position_rows, shown_lines
from labresults.terms import Station
from labresults.web.drawings import all_readings, line_drawings, small_drawings
from labresults.web.run_asked import Asked

MOST_ROWS = 30
"""Rows of a long list on the page; the whole list is one link away."""


def run_context(page: RunPage, asked: Asked) -> dict[str, Any]:
    """Everything on the page of a run; two queries, and those of `richer_than_allowed`."""
    parts = parts_of(page, asked.at)
    context = {
        "page": page, "run": page.run, "see": asked, "is_newest": page.is_newest, "here": Station.RUNS,
        "parts": parts, "place": asked.position_address(is_parted=len(parts) > 1), "title": f"Run {page.run}",
    }  # fmt: skip
    return context | _evaluated(page, asked, context) if page.evaluation else context


def _evaluated(page: RunPage, asked: Asked, context: dict[str, Any]) -> dict[str, Any]:
    lines = shown_lines(page, asked.only)
    part = next((part for part in context["parts"] if part.is_shown), None)
    pictures = RunPictures(page, context["place"])
    drawings = line_drawings(pictures, asked.line, asked.block)
    all_lines = tuple(key for key, _, _ in shown_lines(page))
    return {
        "answers": answers(page),
        "groups": failure_groups(page, asked.criterion),
        "repeats": _listed(gathered(each for each in page.repeats if not each.settled), asked, "repeats"),
        "settled": sum(each.settled for each in page.repeats),
        "over": _listed(page.proposals, asked, "over"),
        "disagreements": _listed(disagreements(page), asked, "disagreements"),
        "curves": _listed(shown_curves(page), asked, "curves"),
        "rows": position_rows(page, part, [key for key, _, _ in lines]) if part else [],
        "lines": lines,
        "all_lines": all_lines,
        "drawings": drawings,
        "smalls": small_drawings(pictures, drawings),
        "readings": all_readings(pictures, asked.line_addresses(all_lines)),
        "richer": richer_than_allowed(page.evaluation) if page.is_newest else [],
        "points": curve_points(page, drawings.line if drawings else ""),
    }


def _listed(rows: list[Any], asked: Asked, name: str) -> dict[str, Any]:
    """Rows of a list with how many more there are, and where the whole list is."""
    shown = rows if name in asked.whole or len(rows) <= MOST_ROWS + 5 else rows[:MOST_ROWS]
    more = len(rows) - len(shown)
    return {"rows": shown, "more": more, "total": len(rows), "whole": asked.kept(whole=(*asked.whole, name))}
