"""What cards ask a PC for: choice by choice, as sets of values to pick one from."""
