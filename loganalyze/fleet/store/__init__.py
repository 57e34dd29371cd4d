"""The store of judged flights: its layout, how shards are written and asked."""
