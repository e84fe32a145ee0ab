"""Every byte that comes in or goes out."""
