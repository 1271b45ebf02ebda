"""labresults: from the counter to the certificate, and back."""

__version__ = "0.1.0"
