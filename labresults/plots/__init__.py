"""Drawings as SVG text: values in, text out. Classes from the style sheet, no colours, no inline style.

A drawing says its finding in words (`title`), links each point to what it shows, and is the same text for the same
values. Nothing here knows Django, files or the clock.
"""
