# pnp_card.py is made of this by kaitai-struct-compiler 0.11.0 (npm), see compile_ksy.cjs; CI compares.
meta:
  id: pnp_card
  title: Plug and Play data of an ISA card behind a frame of 23 bytes
  endian: le
  bit-endian: be
doc: |
  Plug and Play ISA Specification 1.0a, chapter 6; the frame is from memory. Bit fields and enums
  are kept as such; texts, IDs and ranges stay raw.
seq:
  - id: signature
    contents: [0x55, 0xBB]
  - id: count
    type: u2be
  - id: config
    size: 19
  - id: identifier
    type: identifier
  - id: items
    type: item
    repeat: until
    repeat-until: not _.is_large and _.small_code == small::end
types:
  identifier:
    seq:
      - id: id
        type: packed_id
      - id: serial
        type: u4
      - id: checksum
        type: u1
  packed_id:
    seq:
      - id: unused
        type: b1
      - id: first
        type: b5
      - id: second
        type: b5
      - id: third
        type: b5
      - id: product
        type: b12
      - id: revision
        type: b4
  item:
    seq:
      - id: is_large
        type: b1
      - id: small_code
        type: b4
        enum: small
        if: not is_large
      - id: small_length
        type: b3
        if: not is_large
      - id: large_code
        type: b7
        enum: large
        if: is_large
      - id: large_length
        type: u2
        if: is_large
      - id: small_content
        size: small_length
        if: not is_large
        type:
          switch-on: small_code
          cases:
            'small::version': version
            'small::device': device
            'small::compatible': packed_id
            'small::irq': irq
            'small::dma': dma
            'small::start_dependent': start_dependent
            'small::io': io
            'small::io_fixed': io_fixed
            'small::end': end
      - id: large_content
        size: large_length
        if: is_large
        type:
          switch-on: large_code
          cases:
            'large::name': name
  version:
    seq:
      - id: major
        type: b4
      - id: minor
        type: b4
      - id: vendor
        type: u1
  device:
    seq:
      - id: id
        type: packed_id
      - id: registers
        type: b7
      - id: boot
        type: b1
      - id: more_registers
        type: u1
        if: not _io.eof
  irq:
    seq:
      - id: lines
        type: u2
      - id: info
        type: u1
        if: not _io.eof
  dma:
    seq:
      - id: channels
        type: u1
      - id: reserved
        type: b1
      - id: speed
        type: b2
        enum: speed
      - id: count
        type: b2
      - id: bus_master
        type: b1
      - id: width
        type: b2
        enum: width
  start_dependent:
    seq:
      - id: priority
        type: u1
        enum: priority
        if: not _io.eof
  io:
    seq:
      - id: reserved
        type: b7
      - id: decodes_16
        type: b1
      - id: low
        type: u2
      - id: high
        type: u2
      - id: align
        type: u1
      - id: length
        type: u1
  io_fixed:
    seq:
      - id: base
        type: u2
      - id: length
        type: u1
  end:
    seq:
      - id: checksum
        type: u1
  name:
    seq:
      - id: text
        type: str
        encoding: ASCII
        size-eos: true
enums:
  small:
    0x1: version
    0x2: device
    0x3: compatible
    0x4: irq
    0x5: dma
    0x6: start_dependent
    0x7: end_dependent
    0x8: io
    0x9: io_fixed
    0xe: vendor
    0xf: end
  large:
    0x1: memory24
    0x2: name
    0x3: unicode
    0x4: vendor
    0x5: memory32
    0x6: memory32_fixed
  speed:
    0: compatible
    1: a
    2: b
    3: f
  width:
    0: bits_8
    1: bits_8_or_16
    2: bits_16
  priority:
    0: good
    1: acceptable
    2: sub_optimal
