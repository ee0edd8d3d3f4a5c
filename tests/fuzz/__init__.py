"""Decoders under random and mutated input, no part of the suite.

``python -m tests.fuzz NAME COUNT [--minutes M] [--own] [--seed N]``; ``NAME`` is a line of the table in ``decoders``,
or ``all``. Where atheris is installed (Apache-2.0), it steers by coverage; else, or with ``--own``, a seeded mutator of
our own draws the inputs.
"""
