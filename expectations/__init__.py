"""Great Expectations, in the database: what the tables must hold, the visit checks as a suite, and the gate.

`rules.py` says what a rule is and counts the rows that break it; `datasource.py` is the only module that
imports Great Expectations, and it is imported late; `contracts.py`, `published.py`, `checks_suite.py` and
`gate.py` use them.
"""
