"""A file of any kind becomes raw sheets: the texts of its cells."""
