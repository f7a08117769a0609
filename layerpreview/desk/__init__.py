"""The desk: the whole job on one local page, live. A small server for one person's own browser, and nobody else's."""
