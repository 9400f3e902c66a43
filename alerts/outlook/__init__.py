"""When a window will open or close: the yearly curve, how anomalies fade, members run forward."""
