"""What the review desk says where it doesn't do what it was asked."""

from __future__ import annotations

REFUSALS: dict[str, str] = {
    "not signed in": "This needs a session. Open the address that the command printed, or sign in.",
    "wrong sign-in": "The name or the password is wrong.",
    "unknown secret": "This address belongs to no open desk. Open the address that the command "
                      "printed last.",
    "stranger": "The provider knows you, and this desk doesn't. Ask an administrator to add you.",
    "not vouched for": "The sign-in with the provider didn't succeed. Begin again on the page to "
                       "sign in.",
    "provider failed": "The provider can't be reached, or answers otherwise than its standard "
                       "says. Try again later, or ask an administrator.",
    "too many attempts": "Too many attempts failed. Wait a quarter of an hour.",
    "forbidden": "Your role doesn't allow this.",
    "foreign page": "The request didn't come from a page of this desk. Load the page again.",
    "not there": "There is no such thing here, or it is no longer there.",
    "outdated": "Somebody changed this while you were looking at it. Nothing of yours was kept "
                "yet: look at what they did, then decide again.",
    "taken": "The name, or the provider's subject, is taken.",
    "wrong input": "Something in this can't be as it is.",
    "problem": "This can't be done.",
    "database lost": "The database of decisions can't be reached. Nothing of this was kept: try "
                     "again in a moment.",
    "change uncertain": "The database of decisions was lost while this was being kept. It may be "
                        "there or not: load the case again in a moment, and send again what isn't "
                        "there.",
    "too long": "That is more than the desk takes at once.",
    "unexpected": "An unexpected error, a fault of the program.",
}


def field_sentence(code: str, field: str) -> str:
    """Return what is wrong with a field, by the code of its validation."""
    wrong = _FIELDS.get(code, "it has a value that cannot be")
    return f"{field}: {wrong}" if field else wrong


_FIELDS = {
    "missing": "it is missing",
    "extra_forbidden": "there is no such field",
    "string_too_short": "it is too short",
    "string_too_long": "it is too long",
    "literal_error": "it is none of the words that are known",
    "json_invalid": "it is no JSON",
    "value_error": "it holds characters that can't be shown",
    "string_pattern_mismatch": "it isn't written as it must be",
    "date_from_datetime_parsing": "it is no date",
    "date_parsing": "it is no date",
    "no_way_in": "give a password, or an issuer together with its subject",
    "int_parsing": "it is no number",
}
