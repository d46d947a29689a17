"""Export files in, typed tables out: everything that knows how a file of a shop, processor, partner or bank looks.

Place in the flow: export file → this package → records. It knows records, mappings and money, never accounts or
postings. `readers.read_export` is the one door; `identify.identify_source` says whose file it is.
"""
