"""Who may do what, and how a request is known to be theirs.

**One person on one machine.** The server listens on the loopback interface only, and its address
carries a secret (``/enter/SECRET``) that starts a session; no account is needed. The person has all
permissions, under the name by which the machine knows them. Sessions end with the server.

**Accounts.** People sign in with a password (argon2), and have a role. Beyond the loopback
interface the server starts only with accounts and a certificate.

**Every request** passes `request_guards.Guards` before anything else: the name in its Host header
must be the server's own (DNS rebinding), a change must come from the server's own pages and carry
the session's token (CSRF), its body is bounded, and every answer carries the headers that keep
foreign scripts, frames and caches out. Then `permissions.require` decides by role.
"""
