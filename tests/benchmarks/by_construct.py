"""The same data read with `construct` as it is usually written: one structure, one switch.

Numbers stay as stored; no checksum is computed. Sources as in `tests.support.independent`.
"""

from __future__ import annotations

import construct as c

PACKED_ID = c.BitStruct(
    "unused" / c.BitsInteger(1),
    "letters" / c.Array(3, c.BitsInteger(5)),
    "product" / c.BitsInteger(12),
    "revision" / c.BitsInteger(4),
)
PORT = c.Struct(
    "info" / c.Int8ul,
    "low" / c.Int16ul,
    "high" / c.Int16ul,
    "align" / c.Int8ul,
    "length" / c.Int8ul,
)
ITEM = c.Struct(
    "offset" / c.Tell,
    "first" / c.Int8ul,
    "length" / c.IfThenElse(c.this.first & 0x80, c.Int16ul, c.Computed(c.this.first & 7)),
    "content"
    / c.Switch(
        c.this.first,
        {
            0x0A: c.Struct("version" / c.Int8ul, "vendor" / c.Int8ul),
            0x15: c.Struct("id" / PACKED_ID, "flags" / c.Int8ul),
            0x16: c.Struct("id" / PACKED_ID, "flags" / c.Int16ul),
            0x1C: PACKED_ID,
            0x22: c.Struct("lines" / c.Int16ul),
            0x23: c.Struct("lines" / c.Int16ul, "info" / c.Int8ul),
            0x2A: c.Struct("channels" / c.Int8ul, "info" / c.Int8ul),
            0x30: c.Struct(),
            0x31: c.Struct("priority" / c.Int8ul),
            0x38: c.Struct(),
            0x47: PORT,
            0x79: c.Struct("checksum" / c.Int8ul),
        },
        default=c.Bytes(c.this.length),
    ),
)


CARD = c.Struct(
    "signature" / c.Const(b"\x55\xbb"),
    "count" / c.Int16ub,
    "config" / c.Bytes(19),
    "identifier" / c.Struct("id" / PACKED_ID, "serial" / c.Int32ul, "checksum" / c.Int8ul),
    "items" / c.RepeatUntil(c.obj_.first == 0x79, ITEM),
)
