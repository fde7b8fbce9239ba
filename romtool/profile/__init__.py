"""Card profiles: read, assembled to an image, and written from one."""
