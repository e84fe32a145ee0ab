"""Findings about jobs and supplied cut files."""
