"""The tables on disk: a file each, registered in `result_tables.TABLES`."""
