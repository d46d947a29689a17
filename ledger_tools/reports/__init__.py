"""Reports: what the built database says, as values; the command line, the packet and the web view print them."""
