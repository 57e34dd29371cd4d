"""From a flight log and a limits sheet to margins, states and exceedances."""
