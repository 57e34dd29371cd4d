"""Follow-up packs and the periodic safety report, as sections of any report.

`case_report` makes the pack of one case for one reader, `period_report` what a safety office says
of a span of months; both are `Report`s, and the renderers of page and PDF write them. Neither
names anybody, unless a gatekeeper asked for a pack with the identity.
"""
