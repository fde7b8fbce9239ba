"""What a logic analyser saw of an EEPROM's bus: levels over time to commands, bytes and findings.

Flow: lines of a file -> `Recording` (levels over time) -> clean levels of the bus's lines ->
transfers or selections -> commands -> what was read and written -> findings.
"""
