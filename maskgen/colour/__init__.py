"""Colours: spaces and differences, flat colours of a picture, dyes to colours and back."""
