"""The exceedances of a store as cases: keys, the list, and what is shown of one.

A **case** is one limit exceeded once, in one log. Its key is a hash of the log's bytes, the limit
and the start. Judging again can move the start; so a case that somebody has dealt with is found
again by overlap (`case_matching`), keeps its key, and says what of its verdict has moved
(`verdict_changes`).
"""
