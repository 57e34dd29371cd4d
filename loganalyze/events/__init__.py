"""What is found along a flight: exceedances, suspects, bounded gaps, and the analysis."""
