"""Words for people: images, findings, schemas on a terminal; problems in one line."""
