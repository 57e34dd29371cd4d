"""Files written by users: limits sheet, columns file, priors, and their common reader.

Public are the models: `columns_file`, `export_options`, `limit_conditions`, `sensor_tolerances`,
`severity_rules`; the sheets themselves and their readers are names of `loganalyze`.
"""
