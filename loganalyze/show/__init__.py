"""What people see: figures, reports, results on disk and the terminal.

`report` lays a flight out in frozen blocks for a kind of reader, in the units and on the clock of a
`text.presentation.Presentation`; it knows nothing of paper or screens. `page` and `pdf` render the
same blocks and share each picture. Every sentence comes from `loganalyze.text`.

The page is one file. Its markup is made of elements that escape what they are given; its content
security policy names its scripts and styles by their hashes and forbids every request. The charts
hold every sample and give back the bits of ``samples.parquet`` (`page.column_packing`); what is
drawn is reduced to the least and greatest value of each pixel. On paper and without JavaScript the
pictures take the charts' place. uPlot is in ``page/uplot/``, unmodified; a test holds it to
its hash.
"""
