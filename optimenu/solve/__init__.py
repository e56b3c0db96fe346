"""From a Program to a menu with a bound: merge, prove, search, or hand the plain model to a solver."""
