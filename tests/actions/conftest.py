"""What acts on certificates need."""

import pytest

from reports.actions import certificates as acts


@pytest.fixture
def quick_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is tested here is not how it looks."""
    monkeypatch.setattr(acts, "draw_files", lambda document, progress: {"pdf": document.to_json().encode()})
    monkeypatch.setattr(acts, "registered_key", lambda at: None)
    monkeypatch.setattr(acts, "signed", lambda pdf, document, at: pdf)
