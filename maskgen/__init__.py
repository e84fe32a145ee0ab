"""Masks, dye order and bench papers for multi-colour dyeing of anodised aluminium."""

__version__ = "0.1.0"
