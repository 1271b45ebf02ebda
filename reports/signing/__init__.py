"""The laboratory's signature under its certificates (PAdES, ETSI EN 319 142-1, level B-B; B-T with an outside clock).

keys.py makes and opens the key, stamps.py asks an outside clock, sign.py puts the signature into a PDF, verify.py says
whether it holds: with the public half alone, and without any network. No Django, no database.
"""
