"""Why and how serious: causes, severity, overspeed warning, time to limit, measures."""
