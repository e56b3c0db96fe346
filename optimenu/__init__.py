"""Menu cycles for small crews far from any shop: planned, proved and handed over."""

__version__ = "0.5.0"
