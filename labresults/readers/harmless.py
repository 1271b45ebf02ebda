"""Text in tables of text that people open with a spreadsheet: what looks like a formula must stay text."""

_LIKE_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "'")


def protected(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; one leading apostrophe taken away gives it back."""
    return f"'{text}" if text.startswith(_LIKE_A_FORMULA) else text
