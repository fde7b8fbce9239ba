"""Words for people: images, findings, schemas on an 80-column terminal; faults in one line."""
