"""How much romtool takes, in bytes: an image, its text of records, a TOML file, a manifest."""

MAX_IMAGE = 64 << 10
MAX_RECORDS = 512 << 10
MAX_TOML = 1 << 20
MAX_MANIFEST = 32 << 20
