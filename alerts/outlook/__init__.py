"""When a window will open or close: the yearly curve, how anomalies fade, members run forward.

The limit found, after two revisions (26 November 2026; figures in tests/benchmarks/README.md): the
state of the soil tells of the next one to two weeks. At leads of 1 to 7 days the CRPS is about half
that of climatology, in generated soil and at [US-TW3]; beyond 14 days it is hardly better, and
neither persistence for each season, nor years that differ more, nor yearly curves held closer to
usual ones made it so. A forecast of the air takes another quarter to half off the last week.
"""
