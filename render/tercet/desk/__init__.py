"""The desk: a local server and one page, in which songs are written and heard. It begins at `tercet.desk.serving`."""
