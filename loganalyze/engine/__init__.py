"""The fast path: blocks, tables and compiled kernels, bitwise equal to the direct evaluation.

`block_evaluation` takes blocks of samples through all formulas on two threads. For each set of
limits that apply together, `limit_curves` tabulates the lowest limit against pressure
altitude in cells of 8 m, with layer boundaries on cell edges; a cell in which two limits cross or a
table bends is NaN. Every row whose margin isn't safely positive, NaN included, is evaluated
by `limits.row_evaluation`, the direct implementation of the rules. Tests compare the results of
whole flights with a row-by-row evaluation, bit for bit.

A block takes 50 ns a sample at 32,768 samples and 86 ns at 131,072, where it no longer fits the
second-level cache; smaller blocks make two threads contend for the interpreter's lock. The array
loops use 32,768; the compiled ones use 65,536 and divide each block further themselves.

`compiled_kernels` (numba, the extra ``fast``) does the same operations in the same order without
fast maths: 16 ns a sample for all columns, 3 ns for the margin alone. It takes half a second to
load, 140 MB, and some ten seconds to compile the first time, so `kernel_loading` loads it only for
a recording, or a batch of flights, that is likely to hold four million samples.
"""
