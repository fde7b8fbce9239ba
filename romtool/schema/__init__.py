"""What the schemas say: fields, records, frames, parts, rules, and how values are written."""
