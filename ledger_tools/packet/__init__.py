"""The accountant's packet: one set of tables made from the reports, shown as a workbook, a PDF, CSV files and an archive.

`contents` says which tables there are and which report each is from; `table` is what a table is; `workbook`, `document`
and `separated` show the same tables, so that they can't disagree; `delivery` writes all of it to disk.
"""
