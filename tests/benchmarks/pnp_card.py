# This is a generated file! Please edit source .ksy file and use kaitai-struct-compiler to rebuild
# type: ignore

import kaitaistruct
from kaitaistruct import KaitaiStruct, KaitaiStream, BytesIO
from enum import IntEnum


if getattr(kaitaistruct, 'API_VERSION', (0, 9)) < (0, 11):
    raise Exception("Incompatible Kaitai Struct Python API: 0.11 or later is required, but you have %s" % (kaitaistruct.__version__))

class PnpCard(KaitaiStruct):
    """Plug and Play ISA Specification 1.0a, chapter 6; the frame is from memory. Bit fields and enums
    are kept as such; texts, IDs and ranges stay raw.
    """

    class Large(IntEnum):
        memory24 = 1
        name = 2
        unicode = 3
        vendor = 4
        memory32 = 5
        memory32_fixed = 6

    class Priority(IntEnum):
        good = 0
        acceptable = 1
        sub_optimal = 2

    class Small(IntEnum):
        version = 1
        device = 2
        compatible = 3
        irq = 4
        dma = 5
        start_dependent = 6
        end_dependent = 7
        io = 8
        io_fixed = 9
        vendor = 14
        end = 15

    class Speed(IntEnum):
        compatible = 0
        a = 1
        b = 2
        f = 3

    class Width(IntEnum):
        bits_8 = 0
        bits_8_or_16 = 1
        bits_16 = 2
    def __init__(self, _io, _parent=None, _root=None):
        super(PnpCard, self).__init__(_io)
        self._parent = _parent
        self._root = _root or self
        self._read()

    def _read(self):
        self.signature = self._io.read_bytes(2)
        if not self.signature == b"\x55\xBB":
            raise kaitaistruct.ValidationNotEqualError(b"\x55\xBB", self.signature, self._io, u"/seq/0")
        self.count = self._io.read_u2be()
        self.config = self._io.read_bytes(19)
        self.identifier = PnpCard.Identifier(self._io, self, self._root)
        self.items = []
        i = 0
        while True:
            _ = PnpCard.Item(self._io, self, self._root)
            self.items.append(_)
            if  (((not (_.is_large))) and (_.small_code == PnpCard.Small.end)) :
                break
            i += 1


    def _fetch_instances(self):
        pass
        self.identifier._fetch_instances()
        for i in range(len(self.items)):
            pass
            self.items[i]._fetch_instances()


    class Device(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Device, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.id = PnpCard.PackedId(self._io, self, self._root)
            self.registers = self._io.read_bits_int_be(7)
            self.boot = self._io.read_bits_int_be(1) != 0
            if (not (self._io.is_eof())):
                pass
                self.more_registers = self._io.read_u1()



        def _fetch_instances(self):
            pass
            self.id._fetch_instances()
            if (not (self._io.is_eof())):
                pass



    class Dma(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Dma, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.channels = self._io.read_u1()
            self.reserved = self._io.read_bits_int_be(1) != 0
            self.speed = KaitaiStream.resolve_enum(PnpCard.Speed, self._io.read_bits_int_be(2))
            self.count = self._io.read_bits_int_be(2)
            self.bus_master = self._io.read_bits_int_be(1) != 0
            self.width = KaitaiStream.resolve_enum(PnpCard.Width, self._io.read_bits_int_be(2))


        def _fetch_instances(self):
            pass


    class End(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.End, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.checksum = self._io.read_u1()


        def _fetch_instances(self):
            pass


    class Identifier(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Identifier, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.id = PnpCard.PackedId(self._io, self, self._root)
            self.serial = self._io.read_u4le()
            self.checksum = self._io.read_u1()


        def _fetch_instances(self):
            pass
            self.id._fetch_instances()


    class Io(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Io, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.reserved = self._io.read_bits_int_be(7)
            self.decodes_16 = self._io.read_bits_int_be(1) != 0
            self.low = self._io.read_u2le()
            self.high = self._io.read_u2le()
            self.align = self._io.read_u1()
            self.length = self._io.read_u1()


        def _fetch_instances(self):
            pass


    class IoFixed(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.IoFixed, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.base = self._io.read_u2le()
            self.length = self._io.read_u1()


        def _fetch_instances(self):
            pass


    class Irq(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Irq, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.lines = self._io.read_u2le()
            if (not (self._io.is_eof())):
                pass
                self.info = self._io.read_u1()



        def _fetch_instances(self):
            pass
            if (not (self._io.is_eof())):
                pass



    class Item(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Item, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.is_large = self._io.read_bits_int_be(1) != 0
            if (not (self.is_large)):
                pass
                self.small_code = KaitaiStream.resolve_enum(PnpCard.Small, self._io.read_bits_int_be(4))

            if (not (self.is_large)):
                pass
                self.small_length = self._io.read_bits_int_be(3)

            if self.is_large:
                pass
                self.large_code = KaitaiStream.resolve_enum(PnpCard.Large, self._io.read_bits_int_be(7))

            if self.is_large:
                pass
                self.large_length = self._io.read_u2le()

            if (not (self.is_large)):
                pass
                _on = self.small_code
                if _on == PnpCard.Small.compatible:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.PackedId(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.device:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.Device(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.dma:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.Dma(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.end:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.End(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.io:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.Io(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.io_fixed:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.IoFixed(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.irq:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.Irq(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.start_dependent:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.StartDependent(_io__raw_small_content, self, self._root)
                elif _on == PnpCard.Small.version:
                    pass
                    self._raw_small_content = self._io.read_bytes(self.small_length)
                    _io__raw_small_content = KaitaiStream(BytesIO(self._raw_small_content))
                    self.small_content = PnpCard.Version(_io__raw_small_content, self, self._root)
                else:
                    pass
                    self.small_content = self._io.read_bytes(self.small_length)

            if self.is_large:
                pass
                _on = self.large_code
                if _on == PnpCard.Large.name:
                    pass
                    self._raw_large_content = self._io.read_bytes(self.large_length)
                    _io__raw_large_content = KaitaiStream(BytesIO(self._raw_large_content))
                    self.large_content = PnpCard.Name(_io__raw_large_content, self, self._root)
                else:
                    pass
                    self.large_content = self._io.read_bytes(self.large_length)



        def _fetch_instances(self):
            pass
            if (not (self.is_large)):
                pass

            if (not (self.is_large)):
                pass

            if self.is_large:
                pass

            if self.is_large:
                pass

            if (not (self.is_large)):
                pass
                _on = self.small_code
                if _on == PnpCard.Small.compatible:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.device:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.dma:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.end:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.io:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.io_fixed:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.irq:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.start_dependent:
                    pass
                    self.small_content._fetch_instances()
                elif _on == PnpCard.Small.version:
                    pass
                    self.small_content._fetch_instances()
                else:
                    pass

            if self.is_large:
                pass
                _on = self.large_code
                if _on == PnpCard.Large.name:
                    pass
                    self.large_content._fetch_instances()
                else:
                    pass



    class Name(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Name, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.text = (self._io.read_bytes_full()).decode(u"ASCII")


        def _fetch_instances(self):
            pass


    class PackedId(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.PackedId, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.unused = self._io.read_bits_int_be(1) != 0
            self.first = self._io.read_bits_int_be(5)
            self.second = self._io.read_bits_int_be(5)
            self.third = self._io.read_bits_int_be(5)
            self.product = self._io.read_bits_int_be(12)
            self.revision = self._io.read_bits_int_be(4)


        def _fetch_instances(self):
            pass


    class StartDependent(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.StartDependent, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            if (not (self._io.is_eof())):
                pass
                self.priority = KaitaiStream.resolve_enum(PnpCard.Priority, self._io.read_u1())



        def _fetch_instances(self):
            pass
            if (not (self._io.is_eof())):
                pass



    class Version(KaitaiStruct):
        def __init__(self, _io, _parent=None, _root=None):
            super(PnpCard.Version, self).__init__(_io)
            self._parent = _parent
            self._root = _root
            self._read()

        def _read(self):
            self.major = self._io.read_bits_int_be(4)
            self.minor = self._io.read_bits_int_be(4)
            self.vendor = self._io.read_u1()


        def _fetch_instances(self):
            pass



