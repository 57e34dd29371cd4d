"""Who may do what, and how a request is known to be theirs."""
