"""Numbers with units, formatted in one place for every page."""

from django import template

register = template.Library()
