"""The examples of the library's documentation, run as they stand."""

import doctest

from romtool import api

# An address byte that nobody answers, by hand (Value Change Dump: IEEE 1364-2005, 18): start, 50h
# with its write bit, no acknowledge, stop; times in microseconds.
STEPS = [(1, 1), (1, 0), (0, 0)]
for bit in (1, 0, 1, 0, 0, 0, 0, 0, 1):
    STEPS += [(0, bit), (1, bit), (0, bit)]
STEPS += [(0, 0), (1, 0), (1, 1)]
VCD = '$timescale 1 us $end\n$var wire 1 ! scl $end\n$var wire 1 " sda $end\n$enddefinitions $end\n'
VCD += "".join(f'#{5 * n}\n{scl}!\n{sda}"\n' for n, (scl, sda) in enumerate(STEPS))


def test_the_examples_of_the_documentation() -> None:
    result = doctest.testmod(api, extraglobs={"VCD": VCD})
    assert result.attempted > 10
    assert result.failed == 0
