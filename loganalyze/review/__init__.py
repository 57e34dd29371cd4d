"""The review desk: a safety office works through the exceedances of a store.

From below, imports run downwards only:

- `cases/`: every exceedance of a store as a case, with a key that survives judging again;
- `decisions/`: what people decide, in a transactional database, with a trail that shows any change;
- `access/`: who may do what, and how a request is known to be theirs;
- `outputs/`: follow-up packs, the periodic safety report, exports;
- `application/`: the web application: the desk itself, its pages and its HTTP interface;
- `commands/`: what the commands around it do: serve it, manage its people, write its report.

`application/review_desk.py` is the one door to all of it: pages, the HTTP interface and the
command line call its methods, and each of these asks first whether the person may.

**Protection.** A person who decides sees an aircraft under a pseudonym and the month of a flight,
neither registration, log nor date. Only `ReviewDesk.reveal` gives these, to a gatekeeper, for a
reason, and the trail says so.
"""
