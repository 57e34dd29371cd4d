"""Samples that no verdict may rest on: implausible, stuck, stale, spiking or disagreeing."""
