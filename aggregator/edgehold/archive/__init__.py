"""The archive of published builds: each under an address of its own, which gives the same bytes for ever.

A build's name is the newest month in its data and the beginning of a hash: the SHA-256 of its ``SHA256SUMS``, the list of all its other
files with theirs. So an address vouches for what lies there, and two builds with the same figures on the same pages are one.

``build`` makes one from its files, ``folder`` reads, verifies and extends an archive, ``withdrawal`` takes out what must not be seen
and leaves a gap that says so. This package knows files and names; what the pages of a build look like, ``edgehold.pages`` knows.
"""
