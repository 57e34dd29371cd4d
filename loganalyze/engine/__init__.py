"""The fast path: blocks, tables and compiled kernels, equal to the plain reading to the bit."""
