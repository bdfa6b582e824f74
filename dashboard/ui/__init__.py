"""The shell around every page, panels, what is in the address, filters and links."""
