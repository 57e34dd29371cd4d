"""Other channels and the edges of an exceedance, compared with what was judged."""
