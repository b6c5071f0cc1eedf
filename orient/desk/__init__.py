"""The desk: the whole job in the browser, on this machine."""
