"""The faces the rider's page and the tag sheets are set in, unmodified, with their licences.

Source Sans and Source Serif (SIL Open Font License 1.1) carry the text; DejaVu Sans Condensed
(Bitstream Vera licence) stands in for scripts and signs they lack.
"""
