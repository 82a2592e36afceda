"""The printed score: staff and tab, engraved line by line, on the pages of a sheet."""
