"""One file a page; each asks for its frame and draws it."""
