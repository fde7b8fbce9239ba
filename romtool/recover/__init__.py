"""Spoilt reads put right."""
