"""Protection of people: a secret key, pseudonyms made with it, and who a row is of, kept apart.

In a protected store the rows of flights and of what was found in them hold facts only. Log,
aircraft, registration and limits sheet are pseudonyms by a keyed hash (HMAC-SHA-256, RFC 2104 and
FIPS 180-4): without the key nobody can tell whose they are, nor try names one after the other;
with it the same name gives the same pseudonym. Instants are the first of their month. What is
behind a pseudonym stands in the dataset `identities`, a row a flight, which may lie elsewhere and
be deleted sooner. Crew and flight number are in neither: no column of the store holds them.
"""
