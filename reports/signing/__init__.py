"""The laboratory's signature under its certificates (PAdES, ETSI EN 319 142-1, level B-B). No Django, no database.

keys.py makes and opens the key, sign.py puts the signature into a PDF, verify.py says whether it holds: with the public
half alone, and without any network.
"""
