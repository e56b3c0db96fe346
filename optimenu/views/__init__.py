"""Screens: rich renderables, made from a Problem and a Report; they compute nothing of their own."""
