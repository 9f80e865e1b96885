"""Corrections and retractions written for the person who sent a result in."""
