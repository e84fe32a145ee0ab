"""One function per kind of job."""
