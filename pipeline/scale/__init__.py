"""The same stages over parts of the fleet, on the workers of a cluster.

What belongs here: who runs which steps on which rows, and the files that pass between them. What does not: the steps
themselves (`pipeline/stages.py`, `pipeline/site/`) and any SQL that computes something (`sql/`).
"""
