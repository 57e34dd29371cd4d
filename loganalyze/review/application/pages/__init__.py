"""The pages of the desk, by what they are about, and what all of them share."""
